"""An empty database gets at once what Django's own command makes, a migration at a time.

By induction: the last migrations of each app, applied to the tables that are made at once without
them, end with the tables that are made at once with them. EVERY_MIGRATION=1 begins at the first,
which takes half a minute.
"""

import os
import re
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any
from urllib.parse import quote

import psycopg
import pytest
from django.core.management import call_command
from psycopg import sql

from tests.site import OURS, ROOT
from tests.which_database import ON_POSTGRES

EVERY = bool(os.environ.get("EVERY_MIGRATION"))
LAST = 2  # of each app
START = """
import django; django.setup()
from django.core.management import call_command
from django.db import connection
"""
# An installation of some time ago, which Django goes on with.
UP_TO_DATE = f"""{START}
from django.db.migrations.loader import MigrationLoader
from clinic.empty_database import history, make_tables
graph, newest = MigrationLoader(connection).graph, set()
for app in ("patients", "education", "clinic"):
    names = sorted(name for name in graph.nodes if name[0] == app)
    newest.update(graph.backwards_plan(names[-{LAST}]))  # with all that depend on it
before = [one for one in history(connection) if (one.app_label, one.name) not in newest]
make_tables(connection, before[:1] if {EVERY} else before)
call_command("migrate")
"""
# It is cut off in the middle of the tables, and started again.
CUT_OFF_THEN_WHOLE = f"""{START}
editor = connection.SchemaEditorClass
create, made = editor.create_model, []
def cut_off(self, model):
    made.append(model)
    if len(made) > 60:
        raise KeyboardInterrupt
    create(self, model)
editor.create_model = cut_off
try:
    call_command("migrate", verbosity=0)
except KeyboardInterrupt:
    editor.create_model = create
    print(connection.introspection.table_names())
    call_command("migrate")
"""
# What PostgreSQL's own catalogues say of a schema; of a column's place only which comes first, for
# a column that was removed leaves a gap in the numbers.
CATALOGUES = {
    "columns": "SELECT table_name, rank() OVER (PARTITION BY table_name ORDER BY ordinal_position),"
    " column_name, data_type, character_maximum_length, numeric_precision, numeric_scale,"
    " is_nullable, column_default, identity_generation, collation_name"
    " FROM information_schema.columns WHERE table_schema = 'public'",
    "indexes": "SELECT indexdef FROM pg_indexes WHERE schemaname = 'public'",
    "constraints": "SELECT conrelid::regclass::text, conname, convalidated,"
    " pg_get_constraintdef(oid) FROM pg_constraint"
    " WHERE connamespace = 'public'::regnamespace",
    "triggers": "SELECT pg_get_triggerdef(oid) FROM pg_trigger WHERE NOT tgisinternal",
    "functions": "SELECT proname, prosrc FROM pg_proc WHERE pronamespace = 'public'::regnamespace",
}


class Place:
    """Two databases of the kind that the tests run on: how to migrate them, what is in them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def run(self, name: str, code: str) -> str:
        """Run Python code on the database of that name; return what it printed."""
        env = {key: value for key, value in os.environ.items() if key not in OURS} | {
            "DJANGO_SETTINGS_MODULE": "clinic.settings",
            "CLINIC_DATA_DIR": str(self.folder / name),
        }
        if ON_POSTGRES:
            host = quote(os.environ["TEST_POSTGRES_HOST"], safe="")
            port = os.environ["TEST_POSTGRES_PORT"]
            env["DATABASE_URL"] = f"postgresql://postgres@{host}:{port}/{self.database(name)}"
        ended = subprocess.run(
            [sys.executable, "-c", code], cwd=ROOT, env=env, capture_output=True, text=True
        )
        assert ended.returncode == 0, ended.stdout + ended.stderr
        return ended.stdout

    def database(self, name: str) -> str:
        """The name on PostgreSQL's server, where other processes test as well."""
        return f"{name}_{os.getpid()}"

    def schema(self, name: str) -> dict[str, list[Any]]:
        """Everything that the database knows of its tables."""
        if ON_POSTGRES:
            with _postgres(self.database(name)) as connection:
                return {
                    what: sorted(connection.execute(query).fetchall(), key=str)
                    for what, query in CATALOGUES.items()
                }
        with closing(sqlite3.connect(self.folder / name / "db.sqlite3")) as connection:
            return {
                # A column that SQLite was given later may stand at another place in its table.
                f"{kind} {what}": sorted(re.split(r', (?="|CONSTRAINT)', (text or "")[:-1]))
                for kind, what, text in connection.execute(
                    "SELECT type, name, sql FROM sqlite_master"
                )
            }

    def rows(self, name: str) -> dict[str, list[str]]:
        """All rows of all tables; when a migration was applied, and as which, is left out."""
        return {table: sorted(map(_plain, rows)) for table, rows in self._rows(name)}

    def _rows(self, name: str) -> Iterator[tuple[str, list[dict[str, Any]]]]:
        if ON_POSTGRES:
            with _postgres(self.database(name)) as connection:
                cursor = connection.cursor(row_factory=psycopg.rows.dict_row)
                for (table,) in connection.execute(
                    "SELECT tablename FROM pg_tables WHERE schemaname = 'public'"
                ).fetchall():
                    every = sql.SQL("SELECT * FROM {}").format(sql.Identifier(table))
                    yield table, cursor.execute(every).fetchall()
            return
        with closing(sqlite3.connect(self.folder / name / "db.sqlite3")) as connection:
            connection.row_factory = sqlite3.Row
            for (table,) in connection.execute(
                "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
            ).fetchall():
                yield table, [dict(row) for row in connection.execute(f'SELECT * FROM "{table}"')]


def _postgres(database: str) -> psycopg.Connection:
    return psycopg.connect(
        host=os.environ["TEST_POSTGRES_HOST"],
        port=os.environ["TEST_POSTGRES_PORT"],
        user="postgres",
        dbname=database,
        autocommit=True,
    )


def _plain(row: dict[str, Any]) -> str:
    left_out = {"id", "applied"} if "applied" in row else set()
    return str(sorted((name, value) for name, value in row.items() if name not in left_out))


@pytest.fixture
def place(tmp_path: Path) -> Place:
    """Two empty databases, `history` and `at_once`; a PostgreSQL ends with the tests anyway."""
    made = Place(tmp_path)
    if ON_POSTGRES:
        with _postgres("postgres") as server:
            for name in map(made.database, ("history", "at_once")):
                server.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
    return made


def test_at_once_makes_the_tables_and_rows_that_all_migrations_make(place: Place) -> None:
    """The reference is Django's migrate."""
    said = place.run("history", UP_TO_DATE)
    assert "at once" not in said
    assert len(re.findall(r"Applying \S+ OK", said)) >= (60 if EVERY else 3 * LAST)
    said = place.run("at_once", CUT_OFF_THEN_WHOLE)
    assert said.startswith("['django_migrations']\n")
    assert "at once" in said
    assert "Applying" not in said

    assert place.schema("at_once") == place.schema("history")
    rows = place.rows("at_once")
    assert rows == place.rows("history")
    assert len(rows["django_migrations"]) > 60


@pytest.mark.django_db
@pytest.mark.parametrize("asked", ["plan", "check_unapplied"])
def test_what_only_asks_makes_no_tables(monkeypatch: pytest.MonkeyPatch, asked: str) -> None:
    made: list[object] = []
    monkeypatch.setattr("clinic.management.commands.migrate.is_empty", lambda _: True)
    monkeypatch.setattr(
        "clinic.management.commands.migrate.make_tables", lambda *given: made.append(given)
    )
    call_command("migrate", verbosity=0, **{asked: True})
    assert made == []
    call_command("migrate", verbosity=0)
    assert len(made) == 1
