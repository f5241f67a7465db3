"""The dated eating plan. Dates were counted on a calendar; DAT and NUT rows are the standards'."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from education.rules.eating_plan import (
    Amounts,
    Choices,
    Daily,
    EatingPlan,
    NoDates,
    Note,
    Told,
    eating_plan,
)
from education.rules.eating_stages import Stage, Stay
from tests.education.rules.eating_stages import LIKE_THE_DEFAULT, NUT_40, NUT_41, STAY

DAILY = Daily(protein_per_serving=Decimal(30), fluid_ml=1893)
CHOICES = Choices(STAY, meals=(-13, -10, -7, -4))


def plan(
    or_date: str | None,
    *,
    given_on: str = "2020-01-01",
    today: str | None = None,
    stages: tuple[Stage, ...] = LIKE_THE_DEFAULT,
    choices: Choices = CHOICES,
    done: bool = False,
    cancelled: bool = False,
) -> EatingPlan:
    return eating_plan(
        date.fromisoformat(or_date) if or_date else None,
        stages,
        choices,
        DAILY,
        given_on=date.fromisoformat(given_on),
        today=date.fromisoformat(today or given_on),
        done=done,
        cancelled=cancelled,
    )


def first_and_last(found: EatingPlan, key: str) -> tuple[str, str]:
    days = [one.day for one in found.days if key in [stage.key for stage in one.stages]]
    return days[0].isoformat(), days[-1].isoformat()


def notes(found: EatingPlan) -> set[Note]:
    return {told.note for told in found.notes}


@pytest.mark.parametrize(
    "or_date, first, last_before, why",
    [
        ("2026-03-10", "2026-02-24", "2026-03-09", "DAT-1; the clocks change on 8 March"),
        ("2028-03-01", "2028-02-16", "2028-02-29", "DAT-3: a leap year"),
        ("2027-03-01", "2027-02-15", "2027-02-28", "DAT-4: no leap year"),
        ("2026-11-01", "2026-10-18", "2026-10-31", "the night of 25 hours is the operation's"),
        ("2027-01-05", "2026-12-22", "2027-01-04", "over the turn of the year"),
    ],
)
def test_fourteen_days_before(or_date: str, first: str, last_before: str, why: str) -> None:
    found = plan(or_date)
    before = [one.day.isoformat() for one in found.days if one.offset < 0]
    assert (before[0], before[-1], len(before)) == (first, last_before, 14), why


def test_each_stage_of_a_published_table() -> None:
    """NUT-43: surgery 2026-03-10, day 1 the day after."""
    found = plan("2026-03-10", stages=NUT_40)
    assert {key: first_and_last(found, key) for key in ("clear", "full", "pureed")} == {
        "clear": ("2026-03-11", "2026-03-12"),
        "full": ("2026-03-13", "2026-03-13"),
        "pureed": ("2026-03-14", "2026-04-10"),
    }
    assert first_and_last(found, "mechanical_soft") == ("2026-04-11", "2026-05-08")
    assert first_and_last(found, "soft") == ("2026-05-09", "2026-06-05")
    assert first_and_last(found, "regular")[0] == "2026-06-06"


def test_a_day_in_two_stages_is_said() -> None:
    """NUT-42: day 15 of the handbook's table."""
    found = plan("2026-03-10", stages=NUT_41, choices=Choices(STAY))
    assert Told(Note.TWO_STAGES, (date(2026, 3, 25),)) in found.notes


@pytest.mark.parametrize(
    "nights, visit, hospital, home",
    [
        (1, 14, ("2026-03-11", "2026-03-11"), ("2026-03-12", "2026-03-24")),
        (2, 10, ("2026-03-11", "2026-03-12"), ("2026-03-13", "2026-03-20")),
    ],
)
def test_after_the_operation(
    nights: int, visit: int, hospital: tuple[str, str], home: tuple[str, str]
) -> None:
    found = plan("2026-03-10", choices=Choices(Stay(nights, visit)))
    assert first_and_last(found, "hospital") == hospital
    assert first_and_last(found, "home") == home


NO_DATES = [
    (None, "2026-02-01", False, False, NoDates.NO_OR_DATE, "no OR date yet"),
    ("2026-03-10", "2026-03-11", False, False, NoDates.DATE_PASSED, "nobody said it was done"),
    ("2026-03-10", "2026-03-11", True, False, None, "done: the days at home go on"),
    ("2026-03-10", "2026-03-10", False, False, None, "on the day itself"),
    ("2026-03-10", "2026-03-25", True, False, NoDates.OVER, "the first visit was yesterday"),
    ("2026-03-10", "2026-02-01", False, True, NoDates.CANCELLED, "cancelled"),
    (None, "2026-02-01", False, True, NoDates.CANCELLED, "cancelled says more than no date"),
]


@pytest.mark.parametrize("or_date, today, done, cancelled, expected, why", NO_DATES)
def test_no_dates_with_the_reason(
    or_date: str | None,
    today: str,
    done: bool,
    cancelled: bool,
    expected: NoDates | None,
    why: str,
) -> None:
    found = plan(or_date, given_on="2026-02-01", today=today, done=done, cancelled=cancelled)
    assert found.refused == expected, why
    assert bool(found.days) is (expected is None)


def test_fewer_days_left_than_the_plan_needs() -> None:
    """DAT-6: surgery in 9 days, 14 needed: "5 days short", and it does not start in the past."""
    found = plan("2026-03-10", given_on="2026-03-01")
    assert (found.short, found.needed) == (5, 14)
    assert found.days[0].day == date(2026, 3, 1)
    assert {Note.STARTS_TODAY, Note.SHORT} <= notes(found)
    assert found.totals.supplements == 8 * 3  # 1 to 8 March; 9 March is clear liquids


def test_who_began_in_time_is_not_short_later() -> None:
    found = plan("2026-03-10", given_on="2026-02-20", today="2026-03-01")
    assert found.short == 0
    assert Told(Note.RUNNING, (date(2026, 2, 24),), 6) in found.notes
    assert found.days[0].day == date(2026, 2, 24)


def test_more_days_left_than_planned_says_when_to_start() -> None:
    found = plan("2026-03-10", given_on="2026-02-01")
    assert Told(Note.STARTS_LATER, (date(2026, 2, 24),), 23) in found.notes


@pytest.mark.parametrize(
    "meals, expected, why",
    [
        ((-13, -10, -7, -4), set(), "four, apart, in time"),
        ((-13, -12, -7, -4), {Note.MEALS_TOO_CLOSE}, "two days running"),
        ((-13, -10, -7, -2), {Note.MEAL_TOO_LATE}, "two days before the operation"),
        ((-13, -10, -7, -1), {Note.MEAL_OUTSIDE}, "on the day of clear liquids"),
        ((-13, -10, -7), {Note.MEALS_NOT_CHOSEN}, "one is not chosen yet"),
        ((-13, -11, -9, -7, -4), {Note.TOO_MANY_MEALS}, "five"),
        ((-13, -13, -10, -7, -4), set(), "one day named twice is one day"),
    ],
)
def test_days_of_solid_meals(meals: tuple[int, ...], expected: set[Note], why: str) -> None:
    found = plan("2026-03-10", choices=Choices(STAY, meals))
    start = {Note.STARTS_LATER, Note.STARTS_TODAY, Note.RUNNING}
    assert notes(found) - start == expected, why


def test_a_meal_too_late_is_not_in_the_plan() -> None:
    found = plan("2026-03-10", choices=Choices(STAY, (-13, -2)))
    assert [one.offset for one in found.days if one.meal] == [-13]


def test_totals_of_the_whole_plan() -> None:
    found = plan("2026-03-10")
    # 13 days of three; fluid on each of the 29 days but the operation's own.
    assert found.totals == Amounts(39, Decimal(1170), 28 * 1893, 4)


@settings(max_examples=100, deadline=None)
@given(
    st.dates(date(2026, 1, 1), date(2032, 12, 31)),
    st.integers(-400, 400),
    st.integers(1, 2),
    st.integers(10, 14),
    st.sets(st.integers(-16, 2), max_size=5),
    st.integers(0, 30),
)
def test_properties(
    or_date: date, k: int, nights: int, visit: int, meals: set[int], ahead: int
) -> None:
    """Each day from the first to the last is in one stage; totals are the sum of the days; moving
    the OR date, and the day on which it is asked, by k days moves every day by k and nothing else.
    """
    choices = Choices(Stay(nights, visit), tuple(meals))

    def made(shift: int) -> EatingPlan:
        today = or_date + timedelta(shift - ahead)
        return eating_plan(
            or_date + timedelta(shift),
            LIKE_THE_DEFAULT,
            choices,
            DAILY,
            given_on=today,
            today=today,
        )

    found, moved = made(0), made(k)
    assert [len(one.stages) for one in found.days] == [1] * len(found.days)
    assert [one.day - found.days[0].day for one in found.days] == [
        timedelta(n) for n in range(len(found.days))
    ]
    assert found.days[-1].day == or_date + timedelta(visit)
    assert found.totals.supplements == sum(one.amounts.supplements for one in found.days)
    assert found.totals.protein_g == sum(one.amounts.protein_g for one in found.days)
    assert found.totals.fluid_ml == sum(one.amounts.fluid_ml for one in found.days)
    assert found.totals.meals == sum(one.meal for one in found.days)
    by_k = timedelta(k)
    assert [one.day for one in moved.days] == [one.day + by_k for one in found.days]
    assert [(one.offset, one.stages, one.meal, one.amounts) for one in moved.days] == [
        (one.offset, one.stages, one.meal, one.amounts) for one in found.days
    ]
    assert (moved.totals, moved.short) == (found.totals, found.short)
    assert [
        Told(told.note, tuple(day - by_k for day in told.days), told.count) for told in moved.notes
    ] == list(found.notes)
