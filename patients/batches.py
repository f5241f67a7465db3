"""Many records in few queries: how many go into one, and how many rows are updated at once."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import TypeVar

from django.db import connections, models, router

Item = TypeVar("Item")

# Far below what the databases take in one query; few queries for 10,000 rows.
AT_ONCE = 2000


def batches(items: Iterable[Item]) -> Iterator[list[Item]]:
    """Yield the items in lists of at most AT_ONCE."""
    left = iter(items)
    while some := list(islice(left, AT_ONCE)):
        yield some


def update_all(records: Sequence[models.Model], fields: Sequence[str]) -> None:
    """Write these fields of saved records of one model, each row its own values.

    One prepared statement for all of them: `bulk_update` says every value of every row in one
    expression, which takes longer to build than to run.
    """
    if not records:
        return
    model = type(records[0])
    connection = connections[router.db_for_write(model)]
    columns = [model._meta.get_field(name) for name in fields]
    quote = connection.ops.quote_name
    written = ", ".join(f"{quote(str(field.column))} = %s" for field in columns)
    key = model._meta.pk
    statement = (
        f"UPDATE {quote(model._meta.db_table)} SET {written} WHERE {quote(str(key.column))} = %s"
    )
    values = [
        [
            *(field.get_db_prep_save(getattr(one, field.attname), connection) for field in columns),
            one.pk,
        ]
        for one in records
    ]
    with connection.cursor() as cursor:
        cursor.executemany(statement, values)
