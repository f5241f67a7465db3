"""How a teach-back may end: one table, a reason on each row.

The method: AHRQ Health Literacy Universal Precautions Toolkit, Tool 5 (EDU-1 of the project's
standards): in the patient's own words, and what is a must-know by itself (PSY-32: a total cannot
carry it).
"""

from datetime import date

import pytest

from education.rules.teach_back import (
    Objected,
    Objection,
    PointTold,
    TeachBackOutcome,
    keys_to_ask,
    objections,
)

ON, LATER, OVER = date(2026, 3, 10), date(2026, 3, 11), date(2026, 3, 9)
GOOD, NOT_YET, VISIT = TeachBackOutcome
Ob = Objection


def point(said: str = "Sips.", understood: bool | None = True, *, safe: bool = False) -> PointTold:
    return PointTold("stop-time" if safe else "bottles", safe, said, understood)


SAFE, OTHER = point(safe=True), point()
# outcome, points, next contact, objections, why
ROWS = [
    (GOOD, [SAFE, OTHER], None, [], "everything was said and understood"),
    (GOOD, [SAFE, point(understood=False)], None, [], "the rest may be left to another day"),
    (GOOD, [SAFE, point("", None)], None, [], "what was not gone through is no evidence"),
    (GOOD, [OTHER], None, [], "nothing safety-critical was missed"),
    (GOOD, [point(safe=True, understood=False), OTHER], None, [Ob.SAFETY_NOT_UNDERSTOOD], "alone"),
    (GOOD, [point("", None, safe=True), OTHER], None, [Ob.SAFETY_NOT_UNDERSTOOD], "not asked"),
    (GOOD, [point("Yes.", None, safe=True)], None, [Ob.SAFETY_NOT_UNDERSTOOD], "said, not marked"),
    (GOOD, [point("  ", safe=True)], None, [Ob.SAID_MISSING], "a nod is no evidence"),
    (GOOD, [SAFE, point("")], None, [Ob.SAID_MISSING], "of any point that is marked"),
    (GOOD, [point("", None)], None, [Ob.NOTHING_SAID], "nothing was asked"),
    (GOOD, [], None, [Ob.NOTHING_SAID], "nothing at all"),
    (GOOD, [SAFE], OVER, [Ob.DATE_OVER], "no day in the past"),
    (NOT_YET, [point("", None, safe=True)], LATER, [], "goes on tomorrow"),
    (NOT_YET, [SAFE], ON, [], "goes on today"),
    (NOT_YET, [SAFE], None, [Ob.NO_NEXT_DATE], "nobody is left waiting without a day"),
    (NOT_YET, [SAFE], OVER, [Ob.DATE_OVER], "no day in the past"),
    (VISIT, [], None, [], "the day of the visit may be agreed later"),
    (VISIT, [point("", False, safe=True)], LATER, [], "a visit, on its day"),
]


@pytest.mark.parametrize("outcome, points, next_on, found, why", ROWS, ids=[r[4] for r in ROWS])
def test_how_it_may_end(
    outcome: TeachBackOutcome,
    points: list[PointTold],
    next_on: date | None,
    found: list[Objection],
    why: str,
) -> None:
    against = objections(points, outcome, next_on=next_on, on=ON)
    assert [one.objection for one in against] == found


def test_an_objection_names_its_point() -> None:
    against = objections([point(safe=True, understood=False)], GOOD, next_on=None, on=ON)
    assert against == (Objected(Ob.SAFETY_NOT_UNDERSTOOD, "stop-time"),)


@pytest.mark.parametrize(
    "missed, safety, every, asked",
    [
        (["a"], ["b"], ["a", "b", "c"], ("a",)),
        ([], ["b"], ["a", "b", "c"], ("b",)),
        ([], [], ["a", "c"], ("a", "c")),
    ],
    ids=["what was missed", "nothing missed: all that is safety-critical", "a module without such"],
)
def test_which_points(
    missed: list[str], safety: list[str], every: list[str], asked: tuple[str, ...]
) -> None:
    assert keys_to_ask(missed, safety, every) == asked
