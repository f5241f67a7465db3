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
    """Return the runs that failed five times, the latest first."""
    failed = DailyRun.objects.filter(finished_at__isnull=True, tries__gte=MOST_TRIES)
    return list(failed.order_by("-on", "job"))
