"""Many records in few queries: how many go into one, and how many rows are updated at once."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import Any, TypeVar

from django.db import connections, models, router

from patients.kept_plans import numbering

Item = TypeVar("Item")

# Far below what the databases take in one query; few queries for 10,000 rows.
AT_ONCE = 2000


def batches(items: Iterable[Item]) -> Iterator[list[Item]]:
    """Yield the items in lists of at most AT_ONCE."""
    left = iter(items)
    while some := list(islice(left, AT_ONCE)):
        yield some


def insert_all(records: Sequence[models.Model]) -> None:
    """Insert records of one model whose ids nobody needs: they are not given back."""
    if records:
        model = type(records[0])
        columns = [field for field in model._meta.concrete_fields if not field.primary_key]
        insert_values(
            model,
            [field.name for field in columns],
            ([field.pre_save(one, True) for field in columns] for one in records),
        )


def insert_values(
    model: type[models.Model], fields: Sequence[str], rows: Iterable[Sequence[Any]]
) -> None:
    """Insert rows of these fields at once; foreign keys are ids.

    `bulk_create` writes each value into the statement's text, which takes longer than inserting;
    so does Django's `executemany` on PostgreSQL, which therefore gets the rows by COPY.
    """
    connection = connections[router.db_for_write(model)]
    quote = connection.ops.quote_name
    columns = [_column(model, name) for name in fields]
    table = quote(model._meta.db_table)
    names = ", ".join(quote(str(field.column)) for field in columns)
    places = ", ".join(["%s"] * len(columns))
    prepared = [
        [
            field.get_db_prep_save(value, connection)
            for field, value in zip(columns, row, strict=True)
        ]
        for row in rows
    ]
    if not prepared:
        return
    with connection.cursor() as cursor:
        if connection.vendor != "postgresql":
            cursor.executemany(f"INSERT INTO {table} ({names}) VALUES ({places})", prepared)
            return
        statement = f"COPY {table} ({names}) FROM STDIN"
        with connection.wrap_database_errors, cursor.copy(statement) as copy:
            for row in prepared:
                copy.write_row(row)


def _column(model: type[models.Model], name: str) -> Any:
    return model._meta.get_field(name)


def update_all(records: Sequence[models.Model], fields: Sequence[str]) -> None:
    """Write these fields of saved records of one model, each row its own values.

    One statement for all of them: `bulk_update` says every value of every row in one
    expression, which takes longer to build than to run.
    """
    if not records:
        return
    model = type(records[0])
    connection = connections[router.db_for_write(model)]
    columns = [_column(model, name) for name in fields]
    quote = connection.ops.quote_name
    on_postgres = connection.vendor == "postgresql"
    places = [f"${n}" if on_postgres else "%s" for n in range(1, len(columns) + 2)]
    written = ", ".join(
        f"{quote(str(field.column))} = {place}"
        for field, place in zip(columns, places, strict=False)
    )
    table, key = quote(model._meta.db_table), quote(str(model._meta.pk.column))
    statement = f"UPDATE {table} SET {written} WHERE {key} = {places[-1]}"
    values = [
        [
            *(field.get_db_prep_save(getattr(one, field.attname), connection) for field in columns),
            one.pk,
        ]
        for one in records
    ]
    with numbering(connection) if on_postgres else connection.cursor() as cursor:
        cursor.executemany(statement, values)
