"""The geometry of the ruler: expected values are worked out by hand from days and lengths."""

from datetime import date

import pytest

from clinic.ruler import WIDTH, Span, around, mark, ruler, week_ticks

ON = date(2026, 11, 25)
# Nine days: each is 28 of the 252 units.
SPAN = Span(date(2026, 11, 21), date(2026, 11, 29))


@pytest.mark.parametrize(
    "day, x, beyond, why",
    [
        (date(2026, 11, 21), 14.0, 0, "the first day: the middle of its 28 units"),
        (date(2026, 11, 25), 126.0, 0, "the fifth of nine days: the middle of the drawing"),
        (date(2026, 11, 29), 238.0, 0, "the last day"),
        (date(2026, 11, 20), 0.0, -1, "the day before the first: the edge, pointing left"),
        (date(2026, 11, 30), 252.0, 1, "the day after the last: the edge, pointing right"),
        (date(2027, 12, 31), 252.0, 1, "a year away stays inside the drawing"),
    ],
)
def test_a_day_stands_in_the_middle_of_its_stretch(
    day: date, x: float, beyond: int, why: str
) -> None:
    found = mark(SPAN, day)
    assert (found.x, found.beyond) == (x, beyond), why


@pytest.mark.parametrize(
    "opens_on, clear_by, x, width, why",
    [
        (date(2026, 11, 22), date(2026, 11, 24), 28.0, 84.0, "both days belong to the window"),
        (date(2026, 11, 25), date(2026, 11, 25), 112.0, 28.0, "a window of one day is seen"),
        (date(2026, 10, 1), date(2026, 11, 21), 0.0, 28.0, "cut off on the left"),
        (date(2026, 11, 29), date(2027, 1, 1), 224.0, 28.0, "cut off on the right"),
        (date(2026, 1, 1), date(2027, 1, 1), 0.0, WIDTH, "longer than the drawing"),
        (date(2026, 10, 1), date(2026, 11, 20), None, None, "over before the drawing begins"),
        (date(2026, 11, 30), date(2026, 12, 5), None, None, "begins after the drawing ends"),
        (None, None, None, None, "no window is known"),
    ],
)
def test_the_window_reaches_from_the_start_of_its_first_day_to_the_end_of_its_last(
    opens_on: date | None, clear_by: date | None, x: float | None, width: float | None, why: str
) -> None:
    drawn = ruler(on=ON, span=SPAN, or_date=None, opens_on=opens_on, clear_by=clear_by)
    assert (drawn.window_x, drawn.window_width) == (x, width), why


def test_clearances_are_drawn_once_for_each_day_in_order() -> None:
    days = [date(2026, 11, 24), date(2026, 11, 22), date(2026, 11, 24)]
    drawn = ruler(on=ON, span=SPAN, or_date=ON, opens_on=None, clear_by=None, clearances=days)
    assert [c.day for c in drawn.clearances] == [date(2026, 11, 22), date(2026, 11, 24)]
    assert drawn.or_date == drawn.today


def test_todays_line_is_in_the_middle_of_a_lists_rulers() -> None:
    assert mark(around(ON), ON).x == WIDTH / 2


def test_weeks_are_ticked_from_today_both_ways_and_today_is_not() -> None:
    assert week_ticks(SPAN, ON) == ()
    assert len(week_ticks(around(ON, weeks=6), ON)) == 12
