"""The digests that were not sent: noted as daily runs of their own, told on the morning list."""

from datetime import date, datetime, timedelta

from django.db.models import QuerySet

from education.models import DailyRun

LOOKED_BACK = timedelta(days=7)


def digests_missed(member_id: int | None, *, on: date) -> QuerySet[DailyRun]:
    """Return the runs of the last week, one for each digest of a member that was not sent."""
    return DailyRun.objects.filter(job=_job(member_id), on__gt=on - LOOKED_BACK)


def note_missed(member_id: int, day: date, *, at: datetime) -> None:
    """Keep that the digest of a day was not sent; a second time changes nothing."""
    DailyRun.objects.get_or_create(
        job=_job(member_id), on=day, defaults={"recorded_at": at, "finished_at": at}
    )


def _job(member_id: int | None) -> str:
    return f"digest-missed:{member_id}"
