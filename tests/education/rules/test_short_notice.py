"""When does a date leave too little time?  One row for each way."""

from datetime import date, timedelta

import pytest

from education.rules.short_notice import Notice, short_notice
from education.rules.window import Window

ON = date(2027, 2, 10)


def due(*days: int) -> list[Window]:
    """Windows that close so many days after the day asked about."""
    return [Window(ON - timedelta(days=90), ON + timedelta(days=n)) for n in days]


@pytest.mark.parametrize(
    "or_date, windows, notice, why",
    [
        (None, due(-3), None, "without a date nobody can be late"),
        (ON - timedelta(days=1), due(20), Notice.DAY_PASSED, "the day is over"),
        (ON, due(11), None, "today is not over, and the module is far enough"),
        (ON + timedelta(days=9), due(-1), Notice.CLEAR_BY_PASSED, "closed yesterday"),
        (ON + timedelta(days=9), due(30, -1), Notice.CLEAR_BY_PASSED, "one of two is enough"),
        (ON + timedelta(days=9), due(0), Notice.INSIDE_NOTICE, "closes tonight"),
        (ON + timedelta(days=9), due(10), Notice.INSIDE_NOTICE, "the first day of the notice"),
        (ON + timedelta(days=9), due(11), None, "one day before the notice begins"),
        (ON + timedelta(days=9), [], None, "nothing is due before the operation"),
    ],
)
def test_short_notice(
    or_date: date | None, windows: list[Window], notice: Notice | None, why: str
) -> None:
    assert short_notice(or_date, windows, on=ON, notice_days=10) == notice, why
