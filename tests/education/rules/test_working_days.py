"""Working days against the published federal calendar (standards.md CAL-1 to CAL-3).

The dates are those of the US Office of Personnel Management under 5 U.S.C. 6103, by the day on
which each is kept.
"""

from datetime import date

import pytest

from education.rules.working_days import WorkingDays, federal_holidays

KEPT_ON = {
    2026: "1-1 1-19 2-16 5-25 6-19 7-3 9-7 10-12 11-11 11-26 12-25",
    # New Year's Day of 2028 is a Saturday and kept on the last Friday of 2027.
    2027: "1-1 1-18 2-15 5-31 6-18 7-5 9-6 10-11 11-11 11-25 12-24 12-31",
    2028: "1-17 2-21 5-29 6-19 7-4 9-4 10-9 11-10 11-23 12-25",
}


@pytest.mark.parametrize("year", KEPT_ON)
def test_the_federal_holidays_are_kept_on_their_weekdays(year: int) -> None:
    expected = []
    for entry in KEPT_ON[year].split():
        month, day = entry.split("-")
        expected.append(date(year, int(month), int(day)))
    found = federal_holidays(date(year, 1, 1), date(year, 12, 31))
    # CAL-2: the actual Saturday or Sunday is in the calendar too, and closed anyway.
    assert [day for day in found if day.weekday() < 5] == expected


def test_cal_1_the_last_working_day_before_a_monday() -> None:
    days = WorkingDays(frozenset(federal_holidays(date(2026, 7, 1), date(2026, 7, 31))))
    assert days.last_up_to(date(2026, 7, 5)) == date(2026, 7, 2)
    assert days.last_up_to(date(2026, 7, 6)) == date(2026, 7, 6)


def test_cal_3_the_programmes_own_closing_days_count_too() -> None:
    days = WorkingDays(frozenset({date(2026, 7, 2)}))
    assert not days.is_one(date(2026, 7, 2))
    assert days.last_up_to(date(2026, 7, 2)) == date(2026, 7, 1)


def test_a_calendar_that_is_closed_for_ever_ends_all_the_same() -> None:
    closed = frozenset(date.fromordinal(n) for n in range(739_000, 740_000))
    assert WorkingDays(closed).last_up_to(date.fromordinal(739_500)) == date.fromordinal(739_500)
