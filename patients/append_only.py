"""Tables that carry a decision are written once: the database itself refuses UPDATE and DELETE.

Models opt in by the base `patients.models.AppendOnly`; the triggers are laid after every
migrate. A correction is always a new row that says what it corrects.
"""

from collections.abc import Iterable

from django.apps import AppConfig, apps
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.base.base import BaseDatabaseWrapper

POSTGRES_FUNCTION = """
CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION 'append only: % refuses %', TG_TABLE_NAME, TG_OP
    USING ERRCODE = 'integrity_constraint_violation'; END $$
"""


def tables() -> list[str]:
    """Return the table names of all append-only models, in a stable order."""
    found = (m for m in apps.get_models() if getattr(m, "append_only", False))
    return sorted(model._meta.db_table for model in found)


def drop_statements(
    connection: BaseDatabaseWrapper, only: Iterable[str] | None = None
) -> list[str]:
    """Return the SQL that removes the triggers (before a table is rebuilt or a test flushes)."""
    names = tables() if only is None else list(only)
    if connection.vendor == "postgresql":
        return [f'DROP TRIGGER IF EXISTS "{name}_append_only" ON "{name}"' for name in names]
    return [
        f'DROP TRIGGER IF EXISTS "{name}_no_{verb.lower()}"'
        for name in names
        for verb in ("UPDATE", "DELETE")
    ]


def create_statements(
    connection: BaseDatabaseWrapper, only: Iterable[str] | None = None
) -> list[str]:
    """Return the SQL that lays the triggers."""
    names = tables() if only is None else list(only)
    if connection.vendor == "postgresql":
        return [POSTGRES_FUNCTION] + [
            f'CREATE TRIGGER "{name}_append_only" BEFORE UPDATE OR DELETE ON "{name}" '
            "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
            for name in names
        ]
    return [
        f'CREATE TRIGGER "{name}_no_{verb.lower()}" BEFORE {verb} ON "{name}" '
        f"BEGIN SELECT RAISE(ABORT, 'append only: {name} refuses {verb}'); END"
        for name in names
        for verb in ("UPDATE", "DELETE")
    ]


def lay_triggers(sender: AppConfig, using: str = DEFAULT_DB_ALIAS, **kwargs: object) -> None:
    """After migrate: lay the triggers on every append-only table that exists."""
    connection = connections[using]
    with connection.cursor() as cursor:
        present = set(connection.introspection.table_names(cursor))
        ours = [name for name in tables() if name in present]
        for statement in drop_statements(connection, ours) + create_statements(connection, ours):
            cursor.execute(statement)
