"""Between which days a module must be cleared.

The dates are plain calendar arithmetic (proleptic Gregorian, as `datetime.date`): each row was
counted on a calendar. Day 0 is the operation, day -n is n days before it.
"""

from datetime import date

import pytest

from education.rules.window import Window, window

# OR date, opens, clear by, expected first and last day, why
ROWS = [
    ("2026-03-10", -14, -1, "2026-02-24", "2026-03-09", "DAT-1: 14 days up to the day before"),
    ("2026-03-10", -28, -1, "2026-02-10", "2026-03-09", "DAT-2: 28 days"),
    ("2028-03-01", -14, -1, "2028-02-16", "2028-02-29", "DAT-3: over the leap day"),
    ("2027-03-01", -14, -1, "2027-02-15", "2027-02-28", "DAT-4: no leap day"),
    ("2026-03-24", -14, -1, "2026-03-10", "2026-03-23", "DAT-5: the date of DAT-1 moved"),
    ("2028-02-29", -1, 0, "2028-02-28", "2028-02-29", "operated on a leap day"),
    ("2028-02-29", -365, -7, "2027-03-01", "2028-02-22", "365 days before a leap day"),
    ("2100-03-01", -1, 0, "2100-02-28", "2100-03-01", "2100 is no leap year"),
    ("2400-03-01", -1, 0, "2400-02-29", "2400-03-01", "2400 is one"),
    ("2027-01-05", -10, -5, "2026-12-26", "2026-12-31", "over the turn of the year"),
    ("2026-03-10", 0, 0, "2026-03-10", "2026-03-10", "one day, the operation's own"),
    ("2026-03-10", 1, 14, "2026-03-11", "2026-03-24", "after the operation"),
    ("2026-03-10", -30, 30, "2026-02-08", "2026-04-09", "on both sides"),
    # US daylight saving begins 2026-03-08 and ends 2026-11-01 (15 U.S.C. 260a): dates have no hours
    ("2026-03-09", -2, -1, "2026-03-07", "2026-03-08", "over the night of 23 hours"),
    ("2026-11-02", -2, -1, "2026-10-31", "2026-11-01", "over the night of 25 hours"),
]


@pytest.mark.parametrize("or_date, opens, clear_by, first, last, why", ROWS)
def test_window(or_date: str, opens: int, clear_by: int, first: str, last: str, why: str) -> None:
    found = window(date.fromisoformat(or_date), opens_days=opens, clear_by_days=clear_by)
    assert found == Window(date.fromisoformat(first), date.fromisoformat(last))


def test_fourteen_days_inclusive_are_fourteen_days() -> None:
    found = window(date(2026, 3, 10), opens_days=-14, clear_by_days=-1)
    assert found is not None
    assert (found.clear_by - found.opens_on).days + 1 == 14


def test_without_an_or_date_there_is_no_window() -> None:
    assert window(None, opens_days=-14, clear_by_days=-1) is None


@pytest.mark.parametrize("or_date", [None, date(2026, 3, 10)])
def test_a_module_cannot_be_due_before_it_opens(or_date: date | None) -> None:
    with pytest.raises(ValueError, match="due before it opens"):
        window(or_date, opens_days=-7, clear_by_days=-14)
