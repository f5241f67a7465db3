"""Fixtures for every test."""

from collections.abc import Iterator, Sequence
from typing import Any

import pytest
from django.core.management.color import Style
from django.db import connection

from patients.append_only import create_statements, drop_statements


@pytest.fixture(autouse=True, scope="session")
def flush_may_empty_append_only_tables() -> Iterator[None]:
    """Lets the flush after a transactional test delete what the product never may.

    On SQLite a flush is a row of DELETEs, which the triggers refuse; on PostgreSQL it is TRUNCATE,
    which they do not see.
    """
    if connection.vendor != "sqlite":
        yield
        return
    flush = connection.ops.sql_flush

    def flush_without_triggers(
        style: Style, tables: Sequence[str], *args: Any, **kwargs: Any
    ) -> list[str]:
        return [
            *drop_statements(connection),
            *flush(style, tables, *args, **kwargs),
            *create_statements(connection),
        ]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(connection.ops, "sql_flush", flush_without_triggers)
        yield
