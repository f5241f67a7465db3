"""The clear-by date is good through 23:59:59 local time, to the second (promise C3).

Days on which clocks change: the United States by 15 U.S.C. 260a (second Sunday of March, first
Sunday of November, 02:00); the others by the IANA time zone database, as `zoneinfo` ships it.
The expected ends of days are written in UTC and were worked out by hand from the offsets.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import transaction

from education.models import Assignment, Clearance
from education.rules.standing import Standing
from education.standings import standing_of
from patients.clock import end_of_day, local_date
from tests.education.short_module import a_short_edition, take
from tests.factories import a_patient, a_programme, an_assignment, an_invitation, an_operation

SECOND = timedelta(seconds=1)


@dataclass(frozen=True)
class Row:
    """A day in a zone, and the instant in UTC at which it is over."""

    zone: str
    day: str
    over: str
    why: str


ROWS = [
    # New York: UTC-5, from 8 March to 1 November 2026 UTC-4
    Row("America/New_York", "2026-03-07", "2026-03-08T05:00", "before the short night"),
    Row("America/New_York", "2026-03-08", "2026-03-09T04:00", "the day of 23 hours"),
    Row("America/New_York", "2026-03-09", "2026-03-10T04:00", "the day after"),
    Row("America/New_York", "2026-10-31", "2026-11-01T04:00", "before the long night"),
    Row("America/New_York", "2026-11-01", "2026-11-02T05:00", "the day of 25 hours"),
    Row("America/New_York", "2028-02-28", "2028-02-29T05:00", "before a leap day"),
    Row("America/New_York", "2028-02-29", "2028-03-01T05:00", "a leap day"),
    Row("America/New_York", "2027-02-28", "2027-03-01T05:00", "no leap day"),
    Row("America/New_York", "2026-12-31", "2027-01-01T05:00", "the year's last day"),
    Row("America/New_York", "2027-03-14", "2027-03-15T04:00", "2027 begins on 14 March"),
    Row("America/New_York", "2027-11-07", "2027-11-08T05:00", "and ends on 7 November"),
    # St. John's: UTC-3:30, in summer UTC-2:30
    Row("America/St_Johns", "2026-03-08", "2026-03-09T02:30", "a half-hour zone, short day"),
    Row("America/St_Johns", "2026-11-01", "2026-11-02T03:30", "a half-hour zone, long day"),
    Row("America/St_Johns", "2026-12-31", "2027-01-01T03:30", "the year's last day"),
    # Kathmandu: UTC+5:45 all year
    Row("Asia/Kathmandu", "2026-03-08", "2026-03-08T18:15", "no daylight saving"),
    Row("Asia/Kathmandu", "2028-02-29", "2028-02-29T18:15", "a leap day"),
    Row("Asia/Kathmandu", "2026-12-31", "2026-12-31T18:15", "the year's last day"),
    # Auckland: UTC+12, from 27 September 2026 UTC+13, until 5 April 2026 UTC+13
    Row("Pacific/Auckland", "2026-04-04", "2026-04-04T11:00", "before the long night, south"),
    Row("Pacific/Auckland", "2026-04-05", "2026-04-05T12:00", "the day of 25 hours, south"),
    Row("Pacific/Auckland", "2026-09-27", "2026-09-27T11:00", "the day of 23 hours, south"),
    Row("Pacific/Auckland", "2026-12-31", "2026-12-31T11:00", "the year's last day"),
    # Havana: clocks go from 00:00 to 01:00 on 8 March, and from 01:00 to 00:00 on 1 November 2026
    Row("America/Havana", "2026-03-07", "2026-03-08T05:00", "the next day begins at 01:00"),
    Row("America/Havana", "2026-03-08", "2026-03-09T04:00", "it begins at 01:00 itself"),
    Row("America/Havana", "2026-10-31", "2026-11-01T04:00", "the first of two midnights"),
    Row("America/Havana", "2026-11-01", "2026-11-02T05:00", "it has two midnights"),
    # Beirut: UTC+2, clocks go from 00:00 to 01:00 on 29 March, and from 00:00 on 25 October 2026
    # back to 23:00 of the 24th
    Row("Asia/Beirut", "2026-03-28", "2026-03-28T22:00", "the next day begins at 01:00"),
    Row("Asia/Beirut", "2026-03-29", "2026-03-29T21:00", "it begins at 01:00 itself"),
    Row("Asia/Beirut", "2026-10-24", "2026-10-24T22:00", "its last hour comes twice"),
    Row("Asia/Beirut", "2026-10-25", "2026-10-25T22:00", "the day after"),
    # Kiritimati: UTC+14, the first to see a day
    Row("Pacific/Kiritimati", "2026-12-31", "2026-12-31T10:00", "14 hours ahead"),
    Row("Pacific/Kiritimati", "2028-02-29", "2028-02-29T10:00", "a leap day"),
    # Pago Pago: UTC-11, the last
    Row("Pacific/Pago_Pago", "2026-12-31", "2027-01-01T11:00", "11 hours behind"),
    # Lord Howe: UTC+10:30, in summer UTC+11: clocks change by half an hour
    Row("Australia/Lord_Howe", "2026-04-05", "2026-04-05T13:30", "a day of 24 and a half hours"),
    Row("Australia/Lord_Howe", "2026-10-04", "2026-10-04T13:00", "a day of 23 and a half hours"),
]
IDS = [f"{row.zone} {row.day} {row.why}" for row in ROWS]


def _over(row: Row) -> datetime:
    return datetime.fromisoformat(row.over).replace(tzinfo=UTC)


def _local(instant: datetime, row: Row) -> datetime:
    return instant.astimezone(ZoneInfo(row.zone))


@pytest.mark.parametrize("row", ROWS, ids=IDS)
def test_a_day_ends_at_local_midnight(row: Row) -> None:
    zone, day = ZoneInfo(row.zone), date.fromisoformat(row.day)
    assert end_of_day(day, zone) == _over(row)
    last = _over(row) - SECOND
    assert f"{_local(last, row):%H:%M:%S}" == "23:59:59"
    assert local_date(last, zone) == day
    assert local_date(_over(row), zone) == day + timedelta(days=1)


@pytest.mark.django_db
@pytest.mark.parametrize("row", ROWS, ids=IDS)
def test_a_submission_clears_in_time_through_the_last_second(row: Row) -> None:
    clear_by = date.fromisoformat(row.day)
    assignment = _assignment(row, clear_by)
    invitation, _ = an_invitation(assignment=assignment, at=_over(row) - timedelta(days=2))
    for late, standing in ((-SECOND, Standing.CLEARED), (timedelta(0), Standing.NEEDS_SIGN_OFF)):
        with transaction.atomic():
            at = _over(row) + late
            take(invitation, "11111", at=at)
            in_time = standing == Standing.CLEARED
            cleared_on = clear_by if in_time else clear_by + timedelta(days=1)
            assert Clearance.objects.get().cleared_on == cleared_on
            told = standing_of(assignment, on=local_date(at, ZoneInfo(row.zone)))
            assert told.answer.standing == standing
            in_sql = Assignment.objects.cleared() | Assignment.objects.needs_sign_off()
            assert in_sql.get() == assignment
            assert Assignment.objects.cleared().exists() is in_time
            transaction.set_rollback(True)  # the other second is handed in instead


def _assignment(row: Row, clear_by: date) -> Assignment:
    at = _over(row) - timedelta(days=10)
    a_programme(at=at, time_zone=row.zone)
    operation = an_operation(patient=a_patient(at=at), or_date=clear_by + timedelta(days=7), at=at)
    module = a_short_edition(at=at).module
    return an_assignment(
        operation=operation, module=module, opens_days=-28, clear_by_days=-7, at=at
    )
