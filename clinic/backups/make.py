"""Make a backup: the database as it is at one instant, the uploads, the languages.

In the folder each backup has one of its own, named after its instant (UTC). The uploads stand
beside them, once for all: a file of the teaching is named after its content and never changes.

A copy of SQLite holds the mail itself, so it is held by whatever way the copy is put back. Into a
dump of PostgreSQL nothing can be written; there `clinic.backups.put_back` does it.
"""

import os
import shutil
import sqlite3
import subprocess
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings
from django.core.files.storage import Storage, default_storage
from django.db.backends.base.base import BaseDatabaseWrapper

from clinic.backups.about import DATABASE, HOLDS, LANGUAGES, UPLOADS, About, Refused, rows_by_table
from clinic.backups.programs import program, where

WHY_HELD = "Restored from the backup of {made_at}: look through what waits, then release it."


def back_up(into: Path, *, at: datetime, seal: str, using: BaseDatabaseWrapper) -> Path:
    """Write a backup; return its folder. Raises Refused; what is unfinished is taken away."""
    made_at = at.astimezone(UTC).strftime("%Y-%m-%dT%H%M%SZ")
    done, under_way = into / made_at, into / f".unfinished-{made_at}"
    if done.exists():
        raise Refused(f"{done} is there already.")
    if HOLDS not in using.introspection.table_names():
        raise Refused("This database has no tables of ours: there is nothing to back up.")
    with _for_the_owner_alone():
        under_way.mkdir(parents=True)
        try:
            copy = under_way / DATABASE[using.vendor]
            if using.vendor == "postgresql":
                schema, rows = _dump(using, copy)
            else:
                schema, rows = "", _copy(using, copy, at=at, made_at=made_at)
            if settings.LANGUAGES_DIR.is_dir():
                shutil.copytree(settings.LANGUAGES_DIR, under_way / LANGUAGES)
            # After the database: so every file that a copied row names is there.
            _take_uploads(into / UPLOADS, default_storage)
            about = About(made_at, settings.RELEASE, using.vendor, schema, seal, rows)
            about.write(under_way)
            under_way.rename(done)
        finally:
            shutil.rmtree(under_way, ignore_errors=True)
    return done


def _dump(using: BaseDatabaseWrapper, file: Path) -> tuple[str, dict[str, int]]:
    """Let pg_dump write the database as one transaction sees it, which counts its rows too."""
    dump = program("pg_dump")
    database, env = where(using)
    with using.cursor() as cursor:
        cursor.execute("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")
        try:
            cursor.execute("SELECT pg_export_snapshot(), current_schema()")
            snapshot, schema = cursor.fetchone()
            asked = ["--format=custom", "--no-owner", "--no-privileges", f"--file={file}"]
            command = [dump, *asked, f"--snapshot={snapshot}", *database]
            ended = subprocess.run(command, env=env, capture_output=True, text=True, check=False)
            if ended.returncode:
                raise Refused(f"pg_dump failed, and there is no backup: {ended.stderr.strip()}")
            return schema, rows_by_table(using)
        finally:
            cursor.execute("ROLLBACK")


def _copy(using: BaseDatabaseWrapper, file: Path, *, at: datetime, made_at: str) -> dict[str, int]:
    """Copy the database by SQLite's online backup, and hold the mail in the copy."""
    using.ensure_connection()
    with closing(sqlite3.connect(file)) as copy:
        using.connection.backup(copy)
        copy.execute("PRAGMA journal_mode=DELETE")  # one file, that can be carried away
        copy.execute(
            "INSERT INTO education_mailhold (held, reason, recorded_at) VALUES (1, ?, ?)",
            (WHY_HELD.format(made_at=made_at), f"{at.astimezone(UTC):%Y-%m-%d %H:%M:%S}"),
        )
        copy.commit()
        names = using.introspection.table_names()
        counted = {name: copy.execute(f'SELECT COUNT(*) FROM "{name}"') for name in sorted(names)}
        return {name: rows.fetchone()[0] for name, rows in counted.items()}


def _take_uploads(into: Path, store: Storage, folder: str = "") -> None:
    """Copy every file of the store that is not in the backup yet."""
    try:
        folders, files = store.listdir(folder)
    except FileNotFoundError:  # nothing was ever uploaded
        return
    for name in files:
        target = into / folder / name
        if target.exists():
            continue
        target.parent.mkdir(parents=True, exist_ok=True)
        part = target.with_name(f".{name}-{os.getpid()}")
        with store.open(f"{folder}/{name}".lstrip("/")) as source, part.open("wb") as copy:
            shutil.copyfileobj(source, copy)
        part.replace(target)
    for name in folders:
        _take_uploads(into, store, f"{folder}/{name}".lstrip("/"))


@contextmanager
def _for_the_owner_alone() -> Iterator[None]:
    """What is written here is for nobody else to read."""
    before = os.umask(0o077)
    try:
        yield
    finally:
        os.umask(before)
