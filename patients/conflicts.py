"""Two transactions that got in each other's way: the same work is done once more (fault 21).

PostgreSQL ends one of them with a deadlock or a serialization failure, for its client to do again
(PostgreSQL manual, "Serialization Failure Handling"). Nothing of it was written.
"""

import logging
import random
import time
from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

from django.db import OperationalError, connection, transaction

log = logging.getLogger(__name__)

Params = ParamSpec("Params")
Result = TypeVar("Result")

MOST_CALLS = 3
LONGEST_PAUSE = 0.1  # seconds
# SQLSTATE (PostgreSQL manual, appendix A): serialization_failure, deadlock_detected.
CONFLICTS = {"40001", "40P01"}


def tried_again(act: Callable[Params, Result]) -> Callable[Params, Result]:
    """Wrap an act that is one transaction: three calls at most, with short pauses between them.

    The pauses are of random length: together two of them might meet again. Inside a transaction
    that is open already the failure is raised at once, for that one is lost as a whole.
    """

    @wraps(act)
    def act_again(*args: Params.args, **kwargs: Params.kwargs) -> Result:
        for _ in range(MOST_CALLS - 1):
            try:
                return act(*args, **kwargs)
            except OperationalError as broken:
                if not _is_conflict(broken) or transaction.get_connection().in_atomic_block:
                    raise
                log.warning("What lost against another transaction is done again")
                time.sleep(random.uniform(0.01, LONGEST_PAUSE))
        return act(*args, **kwargs)

    return act_again


def _is_conflict(error: OperationalError) -> bool:
    return getattr(error.__cause__, "sqlstate", None) in CONFLICTS


def take_turns(*numbers: int) -> None:
    """Wait until no other transaction has one of these numbers, and have them until ours ends.

    On SQLite the one write lock is held already.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT pg_advisory_xact_lock(one) FROM unnest(%s::bigint[]) AS one",
                [sorted(numbers)],
            )
