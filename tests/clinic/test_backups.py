"""Promise T7, fault 23: a backup is made while people work, and put back with all mail held.

The databases' own tools write and read it (pg_dump, pg_restore, psql; SQLite's online backup).
"""

import os
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import FileSystemStorage, default_storage
from django.core.management import CommandError, call_command
from django.db import connection
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.utils import ConnectionHandler

from clinic.backups import put_back as putting
from clinic.backups.about import ABOUT, Refused, read_about, rows_by_table
from clinic.backups.make import back_up
from clinic.backups.put_back import differences, put_back
from clinic.trail import seal
from patients.clock import now
from tests import servers
from tests.factories import a_programme, a_submission, an_invitation
from tests.which_database import ON_POSTGRES


@pytest.fixture
def empty(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[BaseDatabaseWrapper]:
    """Another database of the same kind, with nothing in it; the programs of its server at hand."""
    there = connection.settings_dict
    if not ON_POSTGRES:
        found = ConnectionHandler({"default": there | {"NAME": tmp_path / "other.sqlite3"}})
        yield found["default"]
        found["default"].close()
        return
    programs = servers.postgres_programs(tmp_path, None)
    monkeypatch.setenv("PATH", f"{programs}{os.pathsep}{os.environ['PATH']}")
    found = ConnectionHandler({"default": there | {"NAME": "put_back"}})
    server = psycopg.connect(
        host=there["HOST"], port=there["PORT"], user=there["USER"], dbname="postgres"
    )
    server.autocommit = True
    server.execute("CREATE DATABASE put_back TEMPLATE template0")
    yield found["default"]
    found["default"].close()
    server.execute("DROP DATABASE put_back WITH (FORCE)")
    server.close()


def asked(database: BaseDatabaseWrapper, sql: str) -> list[tuple[Any, ...]]:
    with database.cursor() as cursor:
        cursor.execute(sql)
        return [tuple(row) for row in cursor.fetchall()]


@pytest.mark.django_db(transaction=True)
def test_t7_fault_23_what_is_put_back_is_what_was_there_and_its_mail_is_held(
    tmp_path: Path, empty: BaseDatabaseWrapper, monkeypatch: pytest.MonkeyPatch
) -> None:
    a_programme()
    a_submission(an_invitation()[0])
    default_storage.save("teaching/ab/a-file.webp", ContentFile(b"picture"))
    made = back_up(tmp_path / "kept", at=now(), seal=str(seal()), using=connection)
    assert made.stat().st_mode & 0o077 == 0, "it holds patients' facts"
    assert (tmp_path / "kept/uploads/teaching/ab/a-file.webp").read_bytes() == b"picture"
    an_invitation()  # what happens afterwards is not in it
    if not ON_POSTGRES:  # one file, which is held also where it is carried by hand
        assert [one.name for one in made.glob("database*")] == ["database.sqlite3"]
        with sqlite3.connect(made / "database.sqlite3") as copy:
            ((on, at),) = copy.execute("SELECT held, recorded_at FROM education_mailhold")
        assert on
        assert now() - datetime.fromisoformat(at).replace(tzinfo=UTC) < timedelta(minutes=5)

    # Broken off, nothing of it is there: neither records without the hold nor half of them.
    if ON_POSTGRES:
        monkeypatch.setattr(putting, "HOLDS", "of_nobody")
        with pytest.raises(Refused, match="of_nobody"):
            put_back(made, using=empty)
        assert rows_by_table(empty) == {}
        monkeypatch.undo()
        monkeypatch.setenv("PATH", f"{servers.postgres_programs(tmp_path, None)}")

    elsewhere = FileSystemStorage(location=tmp_path / "elsewhere")
    monkeypatch.setattr(putting, "default_storage", elsewhere)
    about = put_back(made, using=empty)
    assert differences(about, empty) == []
    assert about.rows["education_submission"] == 1
    for table in ("patients_patient", "education_assignment", "education_clearance"):
        columns = f"SELECT * FROM {table} ORDER BY id"
        assert asked(empty, columns) == asked(connection, columns)[: about.rows[table]]
    held = asked(empty, "SELECT held, reason FROM education_mailhold ORDER BY id DESC")[0]
    assert held[0]
    assert "Restored from the backup" in held[1]
    assert asked(connection, "SELECT * FROM education_mailhold") == [], "here mail goes on"
    assert elsewhere.open("teaching/ab/a-file.webp").read() == b"picture"

    # Over what people live in it is never put.
    with pytest.raises(Refused, match="has people in it"):
        put_back(made, using=empty)
    default_storage.delete("teaching/ab/a-file.webp")


@pytest.mark.django_db
def test_a_backup_that_cannot_be_made_says_so_and_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    if ON_POSTGRES:
        with pytest.raises(CommandError, match="There is no pg_dump here"):
            call_command("backup", tmp_path / "kept")
    (tmp_path / "file").write_text("")
    with pytest.raises(CommandError):
        call_command("backup", tmp_path / "file")
    assert not [one for one in tmp_path.rglob("*") if one.name.startswith((".unfinished", "20"))]


def test_what_is_no_backup_or_of_another_database_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="no finished backup"):
        read_about(tmp_path)
    (tmp_path / ABOUT).write_text("{}")
    with pytest.raises(Refused, match="no finished backup"):
        read_about(tmp_path)
