"""Many values in few queries: how many go into one."""

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import TypeVar

Item = TypeVar("Item")

# Far below what the databases take in one query; few queries for 10,000 rows.
AT_ONCE = 2000


def batches(items: Iterable[Item]) -> Iterator[list[Item]]:
    """Yield the items in lists of at most AT_ONCE."""
    left = iter(items)
    while some := list(islice(left, AT_ONCE)):
        yield some
