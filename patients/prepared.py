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

import re
from collections.abc import Callable, Iterable, Mapping
from copy import copy
from types import SimpleNamespace
from typing import Any, Generic, TypeVar

from django.core.exceptions import EmptyResultSet
from django.db import DEFAULT_DB_ALIAS, connection, connections
from django.db.models import BigIntegerField, Expression, Field, ForeignKey, Lookup, Model, QuerySet
from django.db.models.base import ModelState
from django.db.models.query import (
    FlatValuesListIterable,
    ModelIterable,
    ValuesListIterable,
    get_related_populators,
)
from django.db.models.signals import post_init, pre_init
from django.db.models.sql.compiler import SQLCompiler
from django.db.models.sql.subqueries import InsertQuery, UpdateQuery

from patients.kept_plans import fetched, rows_of, rows_written

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
        """The value as the database takes it; a text or a number is taken as it is."""
        if type(value) in (str, int):
            return value
        return self.output_field.get_db_prep_value(value, connection)


class GivenIds(Given):
    """The place of any number of ids, behind `__among`: one parameter, however many there are."""

    def __init__(self, name: str) -> None:
        super().__init__(name, BigIntegerField())

    def as_postgresql(self, compiler: Any, connection: Any) -> Any:
        """An array; SQLite has none, and reads the list from a text."""
        return "%s::bigint[]", [self]

    def bound(self, value: Iterable[int]) -> Any:
        """The ids as the database takes them: one text, which the driver sends quickest."""
        listed = "{%s}" if connection.vendor == "postgresql" else "[%s]"
        return listed % ",".join(map(str, value))


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

    def __init__(
        self, build: Callable[[], "QuerySet[Any, Row]"], *, keep_plan: bool = True
    ) -> None:
        """`keep_plan`: False where the best plan hangs on the values, as for a word's beginning."""
        self._build = build
        self._keep_plan = keep_plan
        self._built: dict[str, Any] = {}

    def __call__(self, **values: Any) -> list[Row]:
        """Return the rows as the query would: records with what they join, or tuples."""
        database = connections[DEFAULT_DB_ALIAS]
        if database.vendor not in self._built:
            self._built[database.vendor] = self._compiled()
        queryset, compiler, statement, places, converts, reader = self._built[database.vendor]
        bound = _bound(places, values)
        if reader is not None:
            rows: Iterable[Any] = self._run(database, statement, bound)
            if converts:
                rows = _for(compiler, database).results_iter([rows], tuple_expected=True)
            made: list[Row] = reader(rows)
            return made
        own = _for(compiler, database)
        own.execute_sql = lambda *_, **__: [self._run(database, statement, bound)]
        anew = queryset.all()
        anew.query.get_compiler = lambda *_, **__: own
        return list(anew)

    def first(self, **values: Any) -> Row | None:
        """Return the first row, None if there is none. Limit the query to one."""
        return next(iter(self(**values)), None)

    def _run(self, database: Any, statement: str, values: list[Any]) -> list[Any]:
        if not self._keep_plan:
            return fetched(database.cursor(), statement, values)
        return rows_of(database, statement, values)

    def _compiled(self) -> tuple[Any, ...]:
        queryset = self._build()
        compiler = queryset.query.get_compiler(using=queryset.db)
        statement, places = compiler.as_sql()
        columns = [column for column, *_ in compiler.select[: compiler.col_count]]
        converters = compiler.get_converters(columns)
        compiler.get_converters = lambda _: converters
        if connection.vendor == "postgresql" and self._keep_plan:
            statement, places = numbered(statement, places)
        reader = _reader(queryset, compiler)
        return queryset, compiler, statement, list(places), bool(converters), reader


def _for(compiler: Any, database: Any) -> Any:
    """The compiler as this thread's connection needs it."""
    own = copy(compiler)
    own.connection = database
    return own


def _reader(queryset: Any, compiler: SQLCompiler) -> Callable[[Iterable[Any]], list[Any]] | None:
    """What Django does for every query to make rows into what they stand for, worked out once.

    None for a kind of query that is not known here: that one Django reads itself.
    """
    kind = queryset._iterable_class
    if kind is ValuesListIterable:
        return list
    if kind is FlatValuesListIterable:
        return lambda rows: [value for value, *_ in rows]
    if kind is not ModelIterable or queryset._prefetch_related_lookups:
        return None
    info: Any = compiler.klass_info
    first, end = info["select_fields"][0], info["select_fields"][-1] + 1
    names = [column.target.attname for column, *_ in compiler.select[first:end]]
    populators: Any = get_related_populators
    joined = populators(info, compiler.select, queryset.db)
    _make_quickly(joined)
    make = _maker(info["model"])
    # Many rows join the same record: one that a foreign key names is made once.
    shared = [
        None if one["reverse"] or one["from_parent"] else one["field"].cache_name
        for one in info.get("related_klass_infos", [])
    ]
    joins = list(zip(joined, shared, strict=True))
    added = (compiler.annotation_col_map or {}).items()

    def made_of(rows: Iterable[Any]) -> list[Any]:
        made = []
        known: dict[Any, Any] = {}
        for row in rows:
            record = make(queryset.db, names, row[first:end])
            for other, name in joins:
                key = name and (name, row[other.cols_start + other.pk_idx])
                if key in known:
                    other.local_setter(record, known[key])
                    continue
                other.populate(row, record)
                if key:
                    known[key] = record._state.fields_cache[name]
            for name, place in added:
                setattr(record, name, row[place])
            made.append(record)
        return made

    return made_of


def _maker(model: type[Model]) -> Callable[..., Any]:
    """Return what makes a record of what the database gave, as the model's `from_db` does.

    Quicker than that where nothing but Django's own `__init__` is to be run.
    """
    asked: Any = model
    own = asked.__init__ is not Model.__init__ or (
        asked.from_db.__func__ is not vars(Model)["from_db"].__func__
    )
    if own or pre_init.has_listeners(model) or post_init.has_listeners(model):
        return model.from_db

    def make(database: str, names: Iterable[str], values: Iterable[Any]) -> Any:
        record = Model.__new__(model)
        vars(record).update(zip(names, values, strict=True))
        record._state = state = ModelState()
        state.db, state.adding = database, False
        return record

    return make


def _make_quickly(joined: Iterable[Any]) -> None:
    for one in joined:
        one.model_cls = SimpleNamespace(from_db=_maker(one.model_cls))
        _make_quickly(one.related_populators)


def prepared(build: Callable[[], "QuerySet[Any, Row]"]) -> Prepared[Row]:
    """Make a function that builds a query into one that runs it."""
    return Prepared(build)


def read(query: "QuerySet[Any, Row]") -> list[Row]:
    """Read a query that each call builds anew, its rows as quickly as a prepared one's."""
    try:
        return Prepared(lambda: query)()
    except EmptyResultSet:  # no row can be in it: the page of an empty list
        return []


class Written:
    """A statement that writes, built once; to call it with its values says how many rows it wrote.

    `compiler`: Django's, of an INSERT or UPDATE of the columns that are given.
    """

    def __init__(self, compiler: Callable[[Any], Any]) -> None:
        self._compiler = compiler
        self._built: dict[str, tuple[str, list[Any]]] = {}

    def __call__(self, **values: Any) -> int:
        """Run it."""
        database = connections[DEFAULT_DB_ALIAS]
        if database.vendor not in self._built:
            self._built[database.vendor] = self._compiled(database)
        statement, places = self._built[database.vendor]
        return rows_written(database, statement, _bound(places, values))

    def _compiled(self, database: Any) -> tuple[str, list[Any]]:
        made = self._compiler(database).as_sql()
        statement, places = made[0] if isinstance(made, list) else made
        if database.vendor == "postgresql":
            return numbered(statement, places)
        return statement, list(places)


def change(rows: Callable[[], "QuerySet[Any]"], **columns: Any) -> Written:
    """Return the UPDATE of some rows; a column becomes a value, or what is `Given`."""

    def compiler(database: Any) -> Any:
        query: Any = rows().query.chain(UpdateQuery)
        query.add_update_values(columns)
        return query.get_compiler(connection=database)

    return Written(compiler)


def new_row(model: type[Model], **columns: Any) -> Written:
    """Return the INSERT of one row; the key apart, every column is named."""

    def compiler(database: Any) -> Any:
        query = InsertQuery(model)
        fields: dict[Any, Any] = {model._meta.get_field(n): place for n, place in columns.items()}
        row = model(**{field.attname: place for field, place in fields.items()})
        query.insert_values(list(fields), [row])
        return query.get_compiler(connection=database)

    return Written(compiler)


def _bound(places: Iterable[Any], values: Mapping[str, Any]) -> list[Any]:
    """What goes over: of a place the value that is given for it."""
    return [one.bound(values[one.name]) if isinstance(one, Given) else one for one in places]


def numbered(statement: str, places: Iterable[Any]) -> tuple[str, list[Any]]:
    """Write the places as PostgreSQL does, $1, $2: a value that is given goes over once."""
    kept: list[Any] = []
    numbers: dict[str, int] = {}
    left = iter(places)

    def number(found: re.Match[str]) -> str:
        if found[0] == "%%":
            return "%"
        place = next(left)
        name = place.name if isinstance(place, Given) else f"constant {len(kept)}"
        if name not in numbers:
            kept.append(place)
            numbers[name] = len(kept)
        return f"${numbers[name]}"

    return re.sub("%[%s]", number, statement), kept
