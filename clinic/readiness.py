"""Can the programme do its work? Measured by progress, each check with a name and its reason.

Nothing here says anything about a patient (promise T3): counts, ages, and names of programs.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import DatabaseError, InterfaceError, connection
from django.db.migrations.executor import MigrationExecutor
from django.db.models import Min, Q

from clinic.models import ProcessKind, ProcessSeen
from education import mail_hold
from education.models import Message, MessageState
from patients.database_clock import TOLERATED, ahead

STUCK = timedelta(minutes=5)  # promise B4
UNANSWERED = "the database does not answer"
# A mail server that turns down one address for now is no standstill (education/send.py).
FOR_NOW = "mail server answered 4"

_tables_fit = False  # once they do, they do for as long as this code runs


@dataclass(frozen=True)
class Check:
    """One thing that has to be so, whether it is, and why, in words for an operator."""

    name: str
    passed: bool
    reason: str


def readiness(*, at: datetime) -> list[Check]:
    """Return every check; none raises. Without a database the others cannot be asked."""
    return list(_checks(at))


def _checks(at: datetime) -> Iterator[Check]:
    first = _tried("database", _database)
    yield first
    asked: dict[str, Callable[[], tuple[bool, str]]] = {
        "migrations": _migrations,
        "mail": lambda: _mail(at),
        "schedule": lambda: _schedule(at),
        "clock": _clock,
    }
    for name, ask in asked.items():
        yield _tried(name, ask) if first.passed else Check(name, False, f"not asked: {UNANSWERED}")


def _tried(name: str, ask: Callable[[], tuple[bool, str]]) -> Check:
    try:
        return Check(name, *ask())
    except (DatabaseError, InterfaceError) as broken:
        return Check(name, False, f"{UNANSWERED} ({type(broken).__name__})")


def _database() -> tuple[bool, str]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    return True, "it answers"


def _migrations() -> tuple[bool, str]:
    global _tables_fit
    if not _tables_fit:
        executor = MigrationExecutor(connection)
        pending = executor.migration_plan(executor.loader.graph.leaf_nodes())
        if pending:
            first, _ = pending[0]
            return False, f"{len(pending)} to be applied, from {first.app_label} {first.name} on"
        _tables_fit = True
    return True, "none is pending"


def _mail(at: datetime) -> tuple[bool, str]:
    if mail_hold.on().exists():
        return True, "all mail is held by a member of staff"
    oldest = oldest_due(at)
    if oldest is None:
        return True, "nothing that is due waits"
    waits = f"the oldest email that is due waits since {minutes(at - oldest)}"
    sent_lately = Message.objects.filter(sent_at__gt=at - STUCK, sent_at__lte=at + STUCK)
    if at - oldest < STUCK or sent_lately.exists():
        return True, waits
    return False, f"{waits}, and none went out in the last {minutes(STUCK)}"


def oldest_due(at: datetime) -> datetime | None:
    """Return since when the oldest email has been due that no sender is at; None if none is.

    What was tried in vain is due since it was written, although its next try is to come.
    """
    due = Q(state=MessageState.WAITING, next_try_at__lte=at)
    left = Q(state=MessageState.SENDING, lease_until__lt=at)
    in_vain = Q(state=MessageState.WAITING, tries__gt=0) & ~Q(problem__startswith=FOR_NOW)
    since = (
        Message.objects.filter(due | left).aggregate(since=Min("next_try_at"))["since"],
        Message.objects.filter(in_vain).aggregate(since=Min("recorded_at"))["since"],
    )
    return min((one for one in since if one is not None), default=None)


def _schedule(at: datetime) -> tuple[bool, str]:
    seen = ProcessSeen.objects.filter(kind=ProcessKind.SCHEDULE).order_by("-seen_at").first()
    if seen is None:
        return False, "it has not run yet"
    ago = f"last run {minutes(at - seen.seen_at)} ago"
    return at - seen.seen_at < STUCK, ago


def _clock() -> tuple[bool, str]:
    off = ahead()
    way = "ahead of" if off > timedelta(0) else "behind"
    said = f"this machine is {abs(off).total_seconds():.1f} s {way} the database"
    return abs(off) <= TOLERATED, said


def minutes(span: timedelta) -> str:
    """A span in words, in the unit that fits."""
    seconds = max(int(span.total_seconds()), 0)
    if seconds < 120:
        return f"{seconds} s"
    if seconds < 2 * 60 * 60:
        return f"{seconds // 60} min"
    return f"{seconds // 3600} h"
