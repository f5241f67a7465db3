"""Two transactions that got in each other's way: the request is made once more (fault 21).

PostgreSQL ends one of them with a deadlock or a serialization failure, for its client to do again
(PostgreSQL manual, "Serialization Failure Handling"). Nothing of it was written, so the view is
called anew, at most three times in all, each after a short pause of random length.
"""

import logging
import random
import time
from collections.abc import Callable
from typing import Any

from django.db import OperationalError, transaction
from django.http import HttpRequest, HttpResponseBase

log = logging.getLogger(__name__)

MOST_CALLS = 3
LONGEST_PAUSE = 0.1  # seconds
# SQLSTATE (PostgreSQL manual, appendix A): serialization_failure, deadlock_detected.
CONFLICTS = {"40001", "40P01"}


class TryAgain:
    """The innermost middleware: it calls the view."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        return self.get_response(request)

    def process_view(
        self,
        request: HttpRequest,
        view: Callable[..., HttpResponseBase],
        args: tuple[Any, ...],
        kwargs: dict[str, Any],
    ) -> HttpResponseBase:
        """Call the view; again if it lost against another transaction."""
        for _ in range(MOST_CALLS - 1):
            try:
                return view(request, *args, **kwargs)
            except OperationalError as broken:
                if not is_conflict(broken) or transaction.get_connection().in_atomic_block:
                    raise
                log.warning("A request lost against another transaction and is made again")
                time.sleep(random.uniform(0.01, LONGEST_PAUSE))
                for _, upload in request.FILES.items():
                    upload.seek(0)
        return view(request, *args, **kwargs)


def is_conflict(error: OperationalError) -> bool:
    """Say whether the database asks for the same work to be done again."""
    return getattr(error.__cause__, "sqlstate", None) in CONFLICTS
