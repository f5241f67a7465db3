"""The one place that reads the clock, and the programme's local calendar.

Views, commands and tasks call `now()` once and pass the instant or the day on.
"""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.utils import timezone


def now() -> datetime:
    """Return the present instant, in UTC."""
    return timezone.now()


def local_date(at: datetime, zone: ZoneInfo) -> date:
    """Return the calendar date of an instant in the programme's time zone."""
    return at.astimezone(zone).date()


def end_of_day(day: date, zone: ZoneInfo) -> datetime:
    """Return the first instant after a local day, in UTC: a day ends at local midnight.

    In zones whose clocks change at midnight the day ends at the first local time that exists.
    """
    midnight = datetime.combine(day + timedelta(days=1), time.min, tzinfo=zone)
    return midnight.astimezone(UTC)
