"""How often each task ran, how long that took, and whether it keeps failing; in the database.

Not in a process: there are many, on several machines, and any of them may be asked for the figures.
A worker writes what went well every ten seconds, so that ten thousand emails are not ten thousand
updates of one row; a failure is written at once. What a killed worker had not written is lost:
these are figures, not records.
"""

import logging
import socket
import threading
import time
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.db import DatabaseError, transaction
from django.db.models import F

from clinic.models import ProcessKind, ProcessSeen, TaskTally

log = logging.getLogger(__name__)

WRITE_EVERY = 10.0  # seconds


@dataclass
class _Unwritten:
    runs: int = 0
    failures: int = 0
    seconds: float = 0.0
    problem: str = ""


_unwritten: dict[str, _Unwritten] = {}
_lock = threading.Lock()
_written_at = 0.0  # by the monotonic clock


def note(task: str, seconds: float, *, at: datetime, problem: str = "") -> None:
    """Count one run. Never raises: no task fails because it could not be counted."""
    with _lock:
        one = _unwritten.setdefault(task, _Unwritten())
        one.runs += 1
        one.seconds += seconds
        one.failures += bool(problem)
        one.problem = problem
    if problem or time.monotonic() - _written_at > WRITE_EVERY:
        write(at=at)


def write(*, at: datetime) -> None:
    """Write what was counted, and that this worker was seen."""
    global _written_at
    with _lock:
        taken = dict(_unwritten)
        _unwritten.clear()
        _written_at = time.monotonic()
    try:
        with transaction.atomic():
            for task, one in sorted(taken.items()):  # in one order: workers must not deadlock
                _add(task, one, at)
            if taken:
                seen(ProcessKind.WORKER, socket.gethostname(), at=at)
    except DatabaseError:
        log.exception("What the tasks did could not be counted")


def seen(kind: ProcessKind, name: str, *, at: datetime) -> None:
    """Put on record that something goes on."""
    ProcessSeen.objects.update_or_create(
        kind=kind, name=name[:120], defaults={"release": settings.RELEASE[:60], "seen_at": at}
    )


def _add(task: str, one: _Unwritten, at: datetime) -> None:
    tally, _ = TaskTally.objects.get_or_create(task=task)
    changes = {
        "runs": F("runs") + one.runs,
        "failures": F("failures") + one.failures,
        "seconds": F("seconds") + one.seconds,
        "last_ended_at": at,
    }
    if one.problem:  # a failure is written at once, so it is the last of what was counted
        went_well = one.runs > one.failures
        changes["failures_in_a_row"] = 1 if went_well else F("failures_in_a_row") + one.failures
        changes |= {"problem": one.problem[:200], "last_failed_at": at}
    else:
        changes["failures_in_a_row"] = 0
    TaskTally.objects.filter(pk=tally.pk).update(**changes)
