"""Jobs that run once on each local date, whoever asks and however often (promise B5)."""

import logging
from collections.abc import Callable
from datetime import date, datetime, timedelta

from django.db.models import F, Q

from education.models import DailyRun

log = logging.getLogger(__name__)

LEASE = timedelta(minutes=15)  # above the longest run; a runner that dies is replaced after it
MOST_TRIES = 5


def once_a_day(job: str, *, on: date, at: datetime, act: Callable[[], object]) -> bool:
    """Run a job if it has not run on the local date `on`, nor on a later one. True if it ran.

    The row is the truth: of several schedulers one runs the job. What dies halfway is run again,
    so `act` has to be safe to run twice. After five tries it is parked with its reason.
    """
    if DailyRun.objects.filter(job=job, on__gt=on).exists():
        return False  # a clock that went back must not bring yesterday's run after today's
    run, _ = DailyRun.objects.get_or_create(job=job, on=on, defaults={"recorded_at": at})
    free = Q(lease_until__isnull=True) | Q(lease_until__lt=at)
    claimed = DailyRun.objects.filter(
        free, pk=run.pk, finished_at__isnull=True, tries__lt=MOST_TRIES
    ).update(lease_until=at + LEASE, tries=F("tries") + 1)
    if not claimed:
        return False
    try:
        act()
    except Exception as broken:
        DailyRun.objects.filter(pk=run.pk).update(
            problem=type(broken).__name__, lease_until=at + LEASE
        )
        log.exception("The daily job %s of %s failed", job, on)
        return False
    DailyRun.objects.filter(pk=run.pk).update(finished_at=at, lease_until=None, problem="")
    return True


def parked() -> list[DailyRun]:
    """Return the runs that failed five times and wait for a person, the latest first."""
    failed = DailyRun.objects.filter(finished_at__isnull=True, tries__gte=MOST_TRIES)
    return list(failed.filter(set_aside_at__isnull=True).order_by("-on", "job"))


def may_run_again(run: DailyRun) -> bool:
    """Say whether no later date of the job was begun: an earlier one does not come after it."""
    return not DailyRun.objects.filter(job=run.job, on__gt=run.on).exists()


def run_again(pk: int) -> bool:
    """Give a parked run five more tries when it is next asked. False if it is too late for that."""
    run = DailyRun.objects.filter(pk=pk).first()
    if run is None or not may_run_again(run):
        return False
    waiting = DailyRun.objects.filter(pk=pk, finished_at__isnull=True, tries__gte=MOST_TRIES)
    return bool(waiting.update(tries=0, lease_until=None, set_aside_at=None))


def set_aside(pk: int, *, at: datetime) -> bool:
    """Leave a parked run undone for good. False if it is parked no longer."""
    waiting = DailyRun.objects.filter(pk=pk, finished_at__isnull=True, tries__gte=MOST_TRIES)
    return bool(waiting.filter(set_aside_at__isnull=True).update(set_aside_at=at))
