"""Tasks with ids that fail: parked after five times with their reason, until a person decides."""

import json
import logging
from collections.abc import Sequence
from datetime import datetime

from django.db import DatabaseError, transaction
from django.db.models import QuerySet

from clinic.models import FailingTask
from patients.wake import wake

log = logging.getLogger(__name__)

MOST_FAILURES = 5


def found(task: str, ids: Sequence[int]) -> FailingTask | None:
    """Return what is on record about a task that failed before."""
    return FailingTask.objects.filter(task=task, ids=_as_text(ids)).first()


def failed(task: str, ids: Sequence[int], *, problem: str, at: datetime) -> None:
    """Count a failure; the fifth parks the task. Never raises: the task's own failure counts."""
    try:
        with transaction.atomic():
            row, _ = FailingTask.objects.select_for_update().get_or_create(
                task=task, ids=_as_text(ids), defaults={"last_failed_at": at}
            )
            row.failures += 1
            row.problem, row.last_failed_at = problem, at
            if row.failures >= MOST_FAILURES and row.parked_at is None:
                row.parked_at = at
                log.error("The task %s %s failed %s times and is parked", task, ids, row.failures)
            row.save()
    except DatabaseError:
        log.exception("The failure of %s could not be counted", task)


def parked() -> QuerySet[FailingTask]:
    """Return the tasks that wait for a person, the latest first."""
    rows = FailingTask.objects.filter(parked_at__isnull=False, set_aside_at__isnull=True)
    return rows.order_by("-parked_at", "-pk")


def take_up(pk: int) -> bool:
    """Let a parked task run again, with five tries of its own. False if it is parked no longer."""
    with transaction.atomic():
        row = FailingTask.objects.select_for_update().filter(pk=pk, parked_at__isnull=False).first()
        if row is None:
            return False
        row.delete()
        wake(row.task, *json.loads(row.ids))
    return True


def set_aside(pk: int, *, at: datetime) -> bool:
    """Leave a parked task undone for good. False if it is parked no longer."""
    return bool(parked().filter(pk=pk).update(set_aside_at=at))


def _as_text(ids: Sequence[int]) -> str:
    return json.dumps(list(ids))
