"""Queries that are built once and run many times, each time with other values.

Django takes longer to build a query than a database takes to run it: 1 to 3 ms of processor time
each, and PostgreSQL as long again to plan it. A page of ten queries is late by that alone. What is
decorated with `prepared` is built at its first call; later calls bring values only, and PostgreSQL
keeps its plan. The function says with `Given` and `GivenIds` where the values go:

    @prepared
    def of_patients() -> QuerySet[Operation]:
        return Operation.objects.filter(patient__among=GivenIds("patients"))

    of_patients(patients=[3, 4])

The statement must be the same whatever the values are: no condition may depend on them.
"""

import json
from collections.abc import Callable, Iterable
from copy import copy
from typing import Any, Generic, TypeVar

import psycopg
from django.db import NotSupportedError, connection
from django.db.backends.utils import CursorWrapper
from django.db.models import BigIntegerField, Expression, Field, ForeignKey, Lookup, Model, QuerySet
from django.db.models.sql.compiler import SQLCompiler

Record = TypeVar("Record", bound=Model)
Row = TypeVar("Row")


class Given(Expression):
    """The place of a value that each run brings, of a field's type."""

    def __init__(self, name: str, field: "Field[Any, Any]") -> None:
        super().__init__(output_field=field)
        self.name = name

    def as_sql(self, compiler: Any, connection: Any) -> Any:
        """A parameter; until the query runs, this object stands for its value."""
        return "%s", [self]

    def bound(self, value: Any) -> Any:
        """The value as the database takes it."""
        return self.output_field.get_db_prep_value(value, connection)


class GivenIds(Given):
    """The place of any number of ids, behind `__among`: one parameter, however many there are."""

    def __init__(self, name: str) -> None:
        super().__init__(name, BigIntegerField())

    def as_postgresql(self, compiler: Any, connection: Any) -> Any:
        """An array; SQLite has none, and reads the list from a text."""
        return "%s::bigint[]", [self]

    def bound(self, value: Iterable[int]) -> Any:
        """The ids as the database takes them."""
        ids = list(value)
        return ids if connection.vendor == "postgresql" else json.dumps(ids)


@Field.register_lookup
@ForeignKey.register_lookup
class Among(Lookup):
    """`__in` for ids whose number is not known when the query is built."""

    lookup_name = "among"

    def as_sql(self, compiler: Any, connection: Any) -> Any:
        """By an index, also as one side of an OR."""
        column, of_column = self.process_lhs(compiler, connection)
        ids, of_ids = self.process_rhs(compiler, connection)
        listed = f"= ANY({ids})"
        if connection.vendor != "postgresql":
            listed = f"IN (SELECT value FROM json_each({ids}))"
        return f"{column} {listed}", (*of_column, *of_ids)


class Prepared(Generic[Row]):
    """A query with places for values; to call it with them reads its rows."""

    def __init__(self, build: Callable[[], "QuerySet[Any, Row]"]) -> None:
        self._build = build
        self._built: dict[str, Any] = {}

    def __call__(self, **values: Any) -> list[Row]:
        """Return the rows as the query would: records with what they join, or tuples."""
        if connection.vendor not in self._built:
            self._built[connection.vendor] = self._compiled()
        queryset, compiler, sql, places = self._built[connection.vendor]
        bound = [one.bound(values[one.name]) if isinstance(one, Given) else one for one in places]
        read = copy(compiler)
        read.connection = connection
        read.execute_sql = lambda *_, **__: [_run(sql, bound)]
        rows = queryset.all()
        rows.query.get_compiler = lambda *_, **__: read
        return list(rows)

    def first(self, **values: Any) -> Row | None:
        """Return the first row, None if there is none. Limit the query to one."""
        return next(iter(self(**values)), None)

    def _compiled(self) -> tuple["QuerySet[Any, Row]", SQLCompiler, str, list[Any]]:
        queryset = self._build()
        compiler = queryset.query.get_compiler(using=queryset.db)
        sql, places = compiler.as_sql()
        return queryset, compiler, sql, list(places)


def prepared(build: Callable[[], "QuerySet[Any, Row]"]) -> Prepared[Row]:
    """Make a function that builds a query into one that runs it."""
    return Prepared(build)


def _run(sql: str, values: list[Any]) -> list[Any]:
    try:
        return _fetched(sql, values)
    except NotSupportedError:
        # A migration widened a column under a plan that this connection keeps.
        if connection.in_atomic_block:
            raise
        with connection.cursor() as cursor:
            cursor.execute("DEALLOCATE ALL")
        return _fetched(sql, values)


def _fetched(sql: str, values: list[Any]) -> list[Any]:
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            _prepare(cursor)
        cursor.execute(sql, values)
        rows: list[Any] = cursor.fetchall()
    return rows


def _prepare(cursor: CursorWrapper) -> None:
    """Let a cursor send values apart from the statement, so that the server keeps its plan.

    Django's own cursors write the values into the text, which makes each statement another one;
    they never prepare, and nothing else here does, so both settings are for these queries alone.
    """
    server = cursor.cursor.connection
    if server.prepare_threshold != 0:
        server.prepare_threshold = 0  # from the first time on
        # Else a plan is made again for each short list of ids, which takes longer than to run it.
        server.execute("SET plan_cache_mode = force_generic_plan")
    cursor.cursor = psycopg.Cursor(server)
