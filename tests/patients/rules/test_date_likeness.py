"""How alike two dates of birth are, row by row."""

from datetime import date, timedelta
from unittest.mock import patch

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patients.rules import date_likeness
from patients.rules.date_likeness import (
    NEARLY,
    Born,
    BornBeside,
    DateAlike,
    WrittenDate,
    compare_dates,
    dates_near,
)

ROWS: list[tuple[Born, Born, DateAlike]] = [
    (date(1980, 3, 12), date(1980, 3, 12), DateAlike.EQUAL),
    (WrittenDate(1980, 3, 12), date(1980, 3, 12), DateAlike.EQUAL),
    (date(1980, 3, 12), date(1980, 12, 3), DateAlike.DAY_MONTH_EXCHANGED),
    (date(1980, 3, 12), date(1980, 3, 21), DateAlike.DIGITS_EXCHANGED),
    (date(1980, 3, 12), date(1908, 3, 12), DateAlike.DIGITS_EXCHANGED),
    (date(1980, 3, 12), date(1981, 3, 12), DateAlike.ONE_DIGIT),
    (date(1980, 3, 12), date(1980, 3, 15), DateAlike.ONE_DIGIT),
    (WrittenDate(1980, 2, 30), date(1980, 2, 20), DateAlike.ONE_DIGIT),
    (date(1980, 3, 12), date(1980, 3, 27), DateAlike.TWO_PARTS),
    (date(1980, 3, 12), date(1967, 3, 12), DateAlike.TWO_PARTS),
    (date(2000, 2, 29), date(2001, 3, 29), DateAlike.TWO_DIGITS),
    (date(1980, 3, 12), None, DateAlike.UNKNOWN),
    (None, None, DateAlike.BOTH_UNKNOWN),
    (date(1980, 3, 12), date(1955, 11, 30), DateAlike.DIFFERENT),
]


@pytest.mark.parametrize("one, other, alike", ROWS)
def test_dates_of_birth(one: Born, other: Born, alike: DateAlike) -> None:
    assert compare_dates(one, other) == compare_dates(other, one) == alike


@given(st.dates(date(1900, 1, 1), date(2099, 12, 31)), st.data())
def test_the_dates_near_one_are_those_that_are_nearly_it(born: date, data: st.DataObject) -> None:
    near = dates_near(born)
    assert {compare_dates(born, other) for other in near} <= NEARLY
    year = data.draw(st.integers(1900, 2099))
    of_a_year = (date(year, 1, 1) + timedelta(days=n) for n in range(365))
    assert {other for other in of_a_year if compare_dates(born, other) in NEARLY} <= near


@given(st.dates(), st.dates())
def test_only_the_same_day_is_equal(one: date, other: date) -> None:
    assert (compare_dates(one, other) == DateAlike.EQUAL) is (one == other)
    assert compare_dates(one, other) == compare_dates(other, one)


DAYS = st.dates(date(1979, 12, 1), date(1982, 2, 1))
BORN = st.one_of(DAYS, DAYS.map(lambda day: WrittenDate(day.year, day.month, 31)), st.none())


@given(BORN, st.lists(st.one_of(BORN, st.dates()), max_size=12))
def test_looked_over_together_is_as_one_by_one(one: Born, others: list[Born]) -> None:
    beside = BornBeside(one)
    with patch.object(date_likeness, "WORTH_A_LOOK", 1):
        beside.look_over(others)
    assert [beside[other] for other in others] == [compare_dates(one, other) for other in others]
