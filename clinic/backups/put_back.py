"""Put a backup back into a database that nobody has lived in, with all mail held.

The hold is written in the transaction that writes the records, so no worker can see the one without
the other: what the backup takes for waiting may have gone out since it was made.
"""

import shutil
import sqlite3
import subprocess
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryFile

from django.conf import settings
from django.core.files.base import File
from django.core.files.storage import default_storage
from django.db.backends.base.base import BaseDatabaseWrapper

from clinic.backups.about import (
    DATABASE,
    HOLDS,
    LANGUAGES,
    UPLOADS,
    About,
    Refused,
    read_about,
    rows_by_table,
)
from clinic.backups.make import WHY_HELD
from clinic.backups.programs import program, where

# Whoever has a row in one of these has something to lose.
LIVED_IN = ("patients_patient", "patients_programme", "clinic_staffuser")


def put_back(backup: Path, *, using: BaseDatabaseWrapper) -> About:
    """Write a backup's records, uploads and languages. Raises Refused, and changes no record."""
    about = read_about(backup)
    if about.vendor != using.vendor:
        raise Refused(f"The backup is of {about.vendor}, and the database is {using.vendor}.")
    there = rows_by_table(using)
    if any(there.get(name) for name in LIVED_IN):
        raise Refused("This database has people in it. Put a backup back into a new, empty one.")
    if using.vendor == "postgresql":
        _from_dump(backup / DATABASE[using.vendor], about, using)
    else:
        _from_copy(backup / DATABASE[using.vendor], using)
    _give_uploads(backup.parent / UPLOADS)
    if (backup / LANGUAGES).is_dir():
        shutil.copytree(backup / LANGUAGES, settings.LANGUAGES_DIR, dirs_exist_ok=True)
    return about


def differences(about: About, using: BaseDatabaseWrapper) -> list[str]:
    """Return by table how many rows are there instead of how many; the hold itself apart."""
    there = rows_by_table(using)
    return [
        f"{name}: {there.get(name, 0)} rows instead of {count}"
        for name, count in about.rows.items()
        if there.get(name, 0) != count and name != HOLDS
    ]


def _from_dump(dump: Path, about: About, using: BaseDatabaseWrapper) -> None:
    """Read the dump as SQL, and let psql run it, with the hold, in one transaction."""
    reader, writer = program("pg_restore"), program("psql")
    database, env = where(using)
    using.close()
    reason = WHY_HELD.format(made_at=about.made_at)
    table = f'"{about.schema}"."{HOLDS}"'
    hold = f"INSERT INTO {table} (held, reason, recorded_at) VALUES (true, '{reason}', now());"
    asked = ["--clean", "--if-exists", "--no-owner", "--no-privileges", "--file=-"]
    run = ["--quiet", "--no-psqlrc", "--output=/dev/null", "--set=ON_ERROR_STOP=1"]
    with (
        TemporaryFile() as said,
        subprocess.Popen(
            [writer, *run, *database], stdin=subprocess.PIPE, stderr=said, env=env
        ) as writing,
        subprocess.Popen(
            [reader, *asked, str(dump)], stdout=subprocess.PIPE, stderr=said
        ) as reading,
    ):
        assert writing.stdin is not None
        assert reading.stdout is not None
        try:
            writing.stdin.write(b"BEGIN;\n")
            shutil.copyfileobj(reading.stdout, writing.stdin)
            if reading.wait() == 0:  # without it the transaction ends as if it had never begun
                writing.stdin.write(f"{hold}\nCOMMIT;\n".encode())
            writing.stdin.close()
        except BrokenPipeError:  # psql met something and left
            reading.kill()
        if reading.wait() or writing.wait():
            said.seek(0)
            told = said.read().decode(errors="replace").strip()
            raise Refused(f"The dump could not be put back, nothing of it was written: {told}")


def _from_copy(copy: Path, using: BaseDatabaseWrapper) -> None:
    """Let SQLite write its copy over the empty database; the hold is in it."""
    using.ensure_connection()
    with closing(sqlite3.connect(f"file:{copy}?mode=ro", uri=True)) as source:
        source.backup(using.connection)


def _give_uploads(uploads: Path) -> None:
    for file in sorted(uploads.rglob("*")):
        name = str(file.relative_to(uploads))
        if file.is_file() and not default_storage.exists(name):
            with file.open("rb") as content:
                default_storage.save(name, File(content))
