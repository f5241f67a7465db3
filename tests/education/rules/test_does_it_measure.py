"""What is said of a question: one row for each finding, and what keeps it from being said."""

import pytest

from education.rules.does_it_measure import (
    Finding,
    Offered,
    enough,
    findings,
    versions_differ,
)
from education.rules.item_statistics import Interval, Tally, fisher, item
from education.rules.missed import Asked, Reading, section
from education.rules.pass_mark import Quiz

OFFERED = (Offered("a", True), Offered("b", False), Offered("c", False))


def _tallies(*rows: tuple[int, str, int]) -> list[Tally]:
    """Return the tallies of (right in the rest of the quiz, choice, count); "a" is right."""
    return [Tally(rest + (c == "a"), c == "a", frozenset({c}), n) for rest, c, n in rows]


@pytest.mark.parametrize(
    ("reason", "rows", "safety", "expected"),
    [
        ("a good one", [(9, "a", 40), (9, "b", 5), (3, "b", 30), (3, "c", 25)], False, ()),
        (
            "the best choose b, surely",
            [(9, "b", 40), (3, "a", 40), (3, "c", 10)],
            False,
            (Finding.BACKWARDS, Finding.DRAWS_THE_BEST),
        ),
        (
            "the same with few quizzes may be chance",
            [(9, "b", 4), (3, "b", 3), (9, "a", 5), (3, "a", 6), (5, "c", 1)],
            False,
            (Finding.PERHAPS_BACKWARDS,),
        ),
        (
            "few know, and it does not matter how much else they know",
            [(9, "a", 10), (3, "a", 10), (9, "b", 20), (3, "b", 20), (9, "c", 20), (3, "c", 20)],
            False,
            (Finding.HARD, Finding.WEAK),
        ),
        (
            "nearly all are right: nothing is asked of its discrimination or its wrong options",
            [(9, "a", 48), (3, "a", 48), (9, "b", 1), (3, "b", 3)],
            False,
            (Finding.VERY_EASY,),
        ),
        (
            "PSY-24: of a safety-critical question that is what is wanted",
            [(9, "a", 48), (3, "a", 48), (9, "b", 1), (3, "b", 3)],
            True,
            (Finding.EASY_AS_IT_SHOULD_BE,),
        ),
        ("nobody takes c", [(9, "a", 40), (3, "b", 20)], False, (Finding.NEVER_CHOSEN,)),
        ("nobody answered", [], False, ()),
    ],
)
def test_findings(
    reason: str, rows: list[tuple[int, str, int]], safety: bool, expected: tuple[Finding, ...]
) -> None:
    figures = item(_tallies(*rows), offered=("a", "b", "c"))
    assert findings(figures, safety_critical=safety, offered=OFFERED) == expected, reason


def test_thirds_are_cut_through_equals_in_proportion() -> None:
    """Nine patients, thirds of three: the five equals in the middle give one to the best third."""
    figures = item(_tallies((9, "a", 2), (5, "a", 3), (5, "b", 2), (1, "b", 2)))
    a, b = (next(c for c in figures.choices if c.name == name) for name in "ab")
    assert a.upper == pytest.approx((2 + 0.6) / 3)
    assert b.upper == pytest.approx(0.4 / 3)
    assert a.lower == pytest.approx(0.6 / 3)
    assert b.lower == pytest.approx((2 + 0.4) / 3)


def test_choices_that_nobody_gave_are_listed_and_no_answer_is_a_wrong_one() -> None:
    figures = item([Tally(0, False, frozenset(), 2), *_tallies((1, "a", 1))], offered=("b", "a"))
    assert [(c.name, c.count) for c in figures.choices] == [("b", 0), ("a", 1)]
    assert (figures.answered, figures.right) == (3, 1)


def test_a_perfect_correlation_has_an_interval_that_excludes_none() -> None:
    within = fisher(-1.0, 100)
    assert -1 <= within.low <= within.high < -0.99
    assert fisher(0.5, 3) == Interval(-1, 1)


def test_below_thirty_nothing_but_counts_is_said() -> None:
    assert not enough(29)
    assert enough(30)


def test_versions_are_told_apart_only_by_intervals_that_are() -> None:
    easy, hard = (
        item(_tallies((5, "a", 95), (5, "b", 5))),
        item(_tallies((5, "a", 50), (5, "b", 50))),
    )
    assert versions_differ({"1": easy, "2": hard})
    assert not versions_differ({"1": easy, "2": easy})
    few = item(_tallies((5, "a", 1), (5, "b", 20)))
    assert not versions_differ({"1": easy, "2": few})
    assert not Interval(0.1, 0.4).apart_from(Interval(0.4, 0.6))


def _asked(right: int, wrong: int, *found: Finding) -> Asked:
    return Asked("q", item(_tallies((5, "a", right), (3, "b", wrong))), found)


@pytest.mark.parametrize(
    ("reason", "asked", "expected"),
    [
        ("no question points here", [], Reading.NOT_ASKED),
        ("29 quizzes", [_asked(20, 9)], Reading.TOO_FEW),
        ("nearly all right", [_asked(95, 5)], Reading.GETS_ACROSS),
        ("one in five wrong", [_asked(80, 20)], Reading.SOME),
        ("many wrong, sound question", [_asked(60, 40)], Reading.TEACHING_FIRST),
        ("one of three is missed", [_asked(95, 5), _asked(60, 40)], Reading.TEACHING_FIRST),
        ("many wrong, also the best", [_asked(60, 40, Finding.BACKWARDS)], Reading.QUESTIONS_FIRST),
        (
            "hard whatever one knows",
            [_asked(20, 80, Finding.HARD, Finding.WEAK)],
            Reading.QUESTIONS_FIRST,
        ),
        (
            "one doubtful question beside a sound one that is missed as well",
            [_asked(60, 40, Finding.BACKWARDS), _asked(60, 40)],
            Reading.TEACHING_FIRST,
        ),
    ],
)
def test_what_misses_say_of_a_section(reason: str, asked: list[Asked], expected: Reading) -> None:
    assert section(asked).reading == expected, reason


@pytest.mark.parametrize(
    ("questions", "mark", "needed"), [(5, 80, 4), (12, 80, 10), (3, 100, 3), (10, 1, 1)]
)
def test_how_many_must_be_right(questions: int, mark: int, needed: int) -> None:
    assert Quiz(questions, mark).needed == needed
