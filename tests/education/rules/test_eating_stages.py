"""Whether a table of stages fits together; sources are named beside the rows."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from education.rules.eating_stages import (
    WARNINGS,
    Anchor,
    Edge,
    Finding,
    Flaw,
    Meals,
    Stage,
    Stay,
    days_needed_before,
    findings,
    refusals,
    stays,
)
from tests.education.rules.eating_stages import (
    HOME,
    HOSPITAL,
    LIKE_THE_DEFAULT,
    NUT_40,
    NUT_41,
    STAY,
    between,
    stage,
)

STAYS = stays(range(1, 3), range(10, 15))
MEALS = Meals(count=4, apart=2, last_days=-3)
ROWS: list[tuple[tuple[Stage, ...], tuple[Finding, ...], str]] = [
    (LIKE_THE_DEFAULT, (), "the default fits every stay of 1 to 2 nights, visit on day 10 to 14"),
    (NUT_40, (), "NUT-40: fits"),
    (
        NUT_41,
        (Finding(Flaw.OVERLAP, ("full", "soft"), 15, 15, STAYS[0]),),
        "NUT-42: day 15 stands in two stages",
    ),
    (
        (stage("a", -14, -3), stage("b", -1, -1)),
        (Finding(Flaw.GAP, ("a", "b"), -2, -2, STAYS[0]),),
        "one day in no stage",
    ),
    (
        (stage("long", -14, 5), stage("b", -3, -2), stage("c", 8, 9)),
        (
            Finding(Flaw.OVERLAP, ("long", "b"), -3, -2, STAYS[0]),
            Finding(Flaw.GAP, ("long", "c"), 6, 7, STAYS[0]),
        ),
        "a stage within another one does not hide the gap behind both",
    ),
    (
        (HOSPITAL, between("home", Edge(Anchor.OPERATION, 3), Edge(Anchor.FIRST_VISIT, 0))),
        (Finding(Flaw.GAP, ("hospital", "home"), 2, 2, Stay(1, 10)),),
        "fits two nights and leaves a day open after one",
    ),
    (
        (stage("a", -5, -6), stage("b", -4, -1)),
        (Finding(Flaw.BACKWARDS, ("a",)),),
        "ends before it begins",
    ),
    (
        (stage("a", -5, -3), stage("a", -2, -1)),
        (Finding(Flaw.SAME_KEY, ("a",)),),
        "two of one name",
    ),
    (
        (stage("a", -5, -2, meals=MEALS),),
        (Finding(Flaw.MEALS_DO_NOT_FIT, ("a",)),),
        "four meals, every other day, do not fit into three days",
    ),
    (
        (stage("a", -14, -5, meals=MEALS),),
        (Finding(Flaw.MEALS_OUTSIDE, ("a",)),),
        "the last day for a meal is past the stage",
    ),
    (
        (stage("a", -14, -1, energy=(600, 900)),),
        (Finding(Flaw.ENERGY_UNUSUAL, ("a",)),),
        "NUT-1: 800 to 1200 kcal; outside it is asked about, not refused",
    ),
    ((stage("a", -14, -1, energy=(800, 1200)),), (), "NUT-1: both ends are usual"),
    ((), (Finding(Flaw.NO_STAGES),), "no stage at all"),
]


@pytest.mark.parametrize("stages, expected, why", ROWS)
def test_findings(stages: tuple[Stage, ...], expected: tuple[Finding, ...], why: str) -> None:
    assert findings(stages, STAYS) == expected, why


def test_a_warning_does_not_refuse() -> None:
    found = findings((stage("a", -14, -1, energy=(600, 900)),), STAYS)
    assert found
    assert refusals(found) == ()
    assert frozenset({Flaw.ENERGY_UNUSUAL}) == WARNINGS


def test_going_home_on_the_day_itself_leaves_the_hospital_stage_empty() -> None:
    assert not HOSPITAL.span(Stay(0, 10))
    assert (
        findings((stage("operation", 0, 0), HOSPITAL, HOME), stays(range(3), range(10, 15))) == ()
    )


def test_days_needed_before() -> None:
    assert days_needed_before(LIKE_THE_DEFAULT, STAY) == 14
    assert days_needed_before(NUT_40, STAY) == 0


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(st.integers(-20, 20), st.integers(0, 9)), min_size=1, max_size=6))
def test_a_table_without_findings_has_each_day_in_one_stage(spans: list[tuple[int, int]]) -> None:
    """Said another way than the rule says it: counted day by day."""
    stages = tuple(stage(f"s{n}", first, first + more) for n, (first, more) in enumerate(spans))
    covered = [day for one in stages for day in one.span(STAY)]
    each_once = all(covered.count(day) == 1 for day in range(min(covered), max(covered) + 1))
    assert (findings(stages, (STAY,)) == ()) is each_once
