"""The geometry of a timeline: expected places are worked out by hand from days and widths."""

import itertools
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.timeline import NARROWEST, Course, Happening, Kind, Mark, Timeline, timeline

ON = date(2027, 3, 1)
# 96 days from the first to the last: two more days of room on each side make 100 of one per cent.
OPENS, OR_DATE = date(2027, 1, 1), date(2027, 4, 6)
CLEAR_BY = date(2027, 3, 20)


def drawn(*happenings: Happening, on: date = ON, is_open: bool = True) -> Timeline:
    course = Course("Sips", happenings, OPENS, CLEAR_BY)
    found = timeline([course], on=on, or_date=OR_DATE, is_open=is_open)
    assert found
    return found


def mark(day: date, kind: Kind = Kind.INVITED) -> Happening:
    return Happening(day, kind, "")


def test_days_stand_to_scale() -> None:
    found = drawn(mark(date(2027, 2, 1)))
    days = (OR_DATE - OPENS).days
    room = max(2.0, days / 25)
    assert found.first == OPENS - timedelta(days=int(room))
    unit = 100 / ((found.last - found.first).days + 1)
    lane = found.lanes[0]
    assert lane.window_x == pytest.approx((OPENS - found.first).days * unit, abs=0.01)
    inclusive = (CLEAR_BY - OPENS).days + 1
    assert lane.window_width == pytest.approx(inclusive * unit, abs=0.02)
    assert found.or_date
    assert found.or_date.x == pytest.approx(((OR_DATE - found.first).days + 0.5) * unit, abs=0.01)
    assert found.today
    assert found.today.x < found.or_date.x


def test_what_lies_close_and_is_alike_is_counted() -> None:
    days = [date(2027, 2, 1) + timedelta(days=n) for n in (0, 0, 1, 2, 30)]
    lane = drawn(*(mark(day) for day in days)).lanes[0]
    assert [(m.count, m.first, m.last) for m in lane.marks] == [
        (4, days[0], days[3]),
        (1, days[4], days[4]),
    ]


def test_what_lies_close_and_is_not_alike_stands_below() -> None:
    day = date(2027, 2, 1)
    kinds = [Kind.INVITED, Kind.FAILED, Kind.CLEARED]
    lane = drawn(*(mark(day, kind) for kind in kinds)).lanes[0]
    assert [m.kind for m in lane.marks] == kinds
    assert len({m.y for m in lane.marks}) == 3
    assert lane.height == 3 * 18


@pytest.mark.parametrize(
    "is_open, on, seen", [(True, ON, True), (True, date(2027, 6, 1), True),
                          (False, ON, True), (False, date(2027, 6, 1), False)]
)  # fmt: skip
def test_today_is_drawn_while_the_operation_is_open(is_open: bool, on: date, seen: bool) -> None:
    """Of one that is over, a day of next year would press everything into a corner."""
    assert (drawn(on=on, is_open=is_open).today is not None) is seen


def test_contacts_of_another_time_do_not_stretch_it() -> None:
    long_ago = Course("Contacts", (mark(date(2020, 1, 1), Kind.CONTACT),))
    module = Course("Sips", (), OPENS, CLEAR_BY)
    found = timeline([module, long_ago], on=ON, or_date=OR_DATE, is_open=True)
    assert found
    assert found.first.year == 2026
    assert [lane.title for lane in found.lanes] == ["Sips"]


@pytest.mark.parametrize(
    "title, lines",
    [
        ("Sips", ["Sips"]),
        ("What to eat in the weeks before", ["What to eat in the weeks before", ""]),
        (
            "How to eat and drink in the four weeks before your operation",
            ["How to eat and drink in the four weeks", "before your operation"],
        ),
        ("x" * 200, ["x" * 42] * 4 + ["x" * 32, ""]),
    ],
)
def test_the_whole_title_stands_there_in_lines_that_fit(title: str, lines: list[str]) -> None:
    """The clear-by date stands behind the last line, or on one of its own."""
    found = timeline([Course(title, (), OPENS, CLEAR_BY)], on=ON, or_date=OR_DATE, is_open=True)
    assert found
    lane = found.lanes[0]
    assert [line.words for line in lane.lines] == lines
    assert lane.lines[-1].y < lane.top
    apart = {b.y - a.y for a, b in itertools.pairwise(lane.lines)}
    assert all(one >= 16 for one in apart), "13 pixels of letters and some air"


def test_without_any_day_there_is_no_drawing() -> None:
    assert timeline([Course("Sips", ())], on=ON, or_date=None, is_open=True) is None


def test_without_an_or_date_what_happened_is_drawn() -> None:
    course = Course("Sips", (mark(date(2027, 2, 1)),))
    found = timeline([course], on=ON, or_date=None, is_open=True)
    assert found
    assert found.or_date is None
    assert found.lanes[0].window_x is None


days_of_two_years = st.dates(date(2026, 6, 1), date(2028, 6, 1))
happenings = st.lists(st.builds(Happening, days_of_two_years, st.sampled_from(Kind), st.just("")))


def _reach(mark: Mark) -> float:
    """Pixels on the narrowest screen, to the right of the mark's middle."""
    return 8 if mark.count == 1 else 22


@settings(max_examples=60, deadline=None)
@given(happenings, happenings)
def test_no_mark_is_lost_and_none_hides_another(one: list[Happening], two: list[Happening]) -> None:
    courses = [Course("One", tuple(one), OPENS, CLEAR_BY), Course("Contacts", tuple(two))]
    found = timeline(courses, on=ON, or_date=OR_DATE, is_open=True)
    assert found
    for course in courses:
        lane = next((x for x in found.lanes if x.title == course.title), None)
        inside = [h for h in course.happenings if found.first <= h.day <= found.last]
        assert sum(m.count for m in (lane.marks if lane else ())) == len(inside)
        if lane is None:
            continue
        for row in {m.y for m in lane.marks}:
            assert lane.top < row < lane.top + lane.height
            line = sorted((m for m in lane.marks if m.y == row), key=lambda m: m.x)
            for left, right in itertools.pairwise(line):
                apart = (right.x - left.x) * NARROWEST / 100
                assert apart >= _reach(left) + 8, "on the narrowest screen too"
    assert all(
        a.top + a.height <= b.lines[0].y for a, b in zip(found.lanes, found.lanes[1:], strict=False)
    )
    assert all(0 <= m.x <= 100 for lane in found.lanes for m in lane.marks)
