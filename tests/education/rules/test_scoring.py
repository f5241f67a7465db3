"""Right, wrong, passed, and when a person must take over."""

from collections.abc import Sequence
from decimal import Decimal
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from education.rules.scoring import (
    Given,
    Key,
    Kind,
    PastAttempt,
    is_right,
    needs_teach_back,
    score,
)

ONE = Key(1, Kind.ONE, right_options=frozenset({12}))
SEVERAL = Key(2, Kind.SEVERAL, right_options=frozenset({21, 23}))
TRUE_FALSE = Key(3, Kind.TRUE_FALSE, right_options=frozenset({31}))
NUMBER = Key(4, Kind.NUMBER, number=Decimal(64), tolerance=Decimal(4))
EXACT = Key(5, Kind.NUMBER, number=Decimal("1.5"), tolerance=Decimal(0))
ORDER = Key(8, Kind.ORDER, order=(81, 82, 83))
MATCH = Key(9, Kind.MATCH, pairs=frozenset({(91, 91), (92, 92), (93, 93)}))
ZERO = Key(6, Kind.NUMBER, number=Decimal(0), tolerance=Decimal(0))


def chose(*options: int) -> Given:
    """These options were chosen."""
    return Given(options=frozenset(options))


def typed(number: str) -> Given:
    """This number was typed."""
    return Given(number=Decimal(number))


def placed(*items: int) -> Given:
    """These items were put in this order."""
    return Given(order=items)


def paired(*pairs: tuple[int, int]) -> Given:
    """These were matched: what is asked, and what was chosen for it."""
    return Given(pairs=frozenset(pairs))


# question, answer, right?, why
ANSWERS: list[tuple[Key, Given | None, bool, str]] = [
    (ONE, chose(12), True, "the right one"),
    (ONE, chose(11), False, "another one"),
    (ONE, chose(11, 12), False, "the right one and another"),
    (ONE, chose(), False, "nothing chosen"),
    (ONE, None, False, "not answered"),
    (SEVERAL, chose(21, 23), True, "all right ones"),
    (SEVERAL, chose(23, 21), True, "in whatever order"),
    (SEVERAL, chose(21), False, "one missing: no half points"),
    (SEVERAL, chose(21, 22, 23), False, "one too many: no half points"),
    (SEVERAL, chose(), False, "nothing chosen"),
    (TRUE_FALSE, chose(31), True, "true"),
    (TRUE_FALSE, chose(32), False, "false"),
    (NUMBER, typed("64"), True, "the number itself"),
    (NUMBER, typed("60"), True, "the lower end of the tolerance"),
    (NUMBER, typed("68"), True, "the upper end"),
    (NUMBER, typed("59.999"), False, "just below"),
    (NUMBER, typed("68.001"), False, "just above"),
    (NUMBER, typed("-64"), False, "the other sign"),
    (NUMBER, Given(), False, "no number"),
    (NUMBER, chose(64), False, "an option is no number"),
    (EXACT, typed("1.50"), True, "trailing zeros do not matter"),
    (EXACT, typed("1.51"), False, "no tolerance"),
    (ZERO, typed("0"), True, "nought is an answer"),
    (ZERO, None, False, "no answer is not nought"),
    (ORDER, placed(81, 82, 83), True, "the right order"),
    (ORDER, placed(81, 83, 82), False, "two of them exchanged: no half points"),
    (ORDER, placed(83, 82, 81), False, "the other way round"),
    (ORDER, placed(81, 82), False, "one item missing"),
    (ORDER, placed(), False, "nothing placed"),
    (ORDER, chose(81, 82, 83), False, "items chosen are not in an order"),
    (Key(10, Kind.ORDER), placed(), False, "an order of nothing is never met"),
    (MATCH, paired((91, 91), (92, 92), (93, 93)), True, "every pair"),
    (MATCH, paired((93, 93), (91, 91), (92, 92)), True, "in whatever order"),
    (MATCH, paired((91, 92), (92, 91), (93, 93)), False, "two exchanged: no half points"),
    (MATCH, paired((91, 91), (92, 92)), False, "one pair missing"),
    (MATCH, paired((91, 91), (92, 92), (93, 92)), False, "one match taken twice"),
    (MATCH, paired(), False, "nothing matched"),
    (MATCH, placed(91, 92, 93), False, "an order is no pairs"),
    (Key(11, Kind.MATCH), paired(), False, "pairs of nothing are never met"),
    (ONE, typed("12"), False, "a number is no option"),
    (Key(7, Kind.SEVERAL), chose(), False, "a key without a right option is never met"),
]


@pytest.mark.parametrize("key, answer, right, why", ANSWERS, ids=[row[3] for row in ANSWERS])
def test_an_answer_is_right_or_wrong(key: Key, answer: Given | None, right: bool, why: str) -> None:
    assert is_right(key, answer) is right


def attempt(pattern: str, critical: str = "") -> tuple[list[Key], dict[int, Given]]:
    """A quiz with one question for each sign: "1" answered right, "0" wrong, "-" not at all.

    `critical` marks safety-critical questions with "!" at their place.
    """
    marks = critical.ljust(len(pattern))
    keys = [
        Key(n, Kind.ONE, marks[n] == "!", right_options=frozenset({1})) for n in range(len(pattern))
    ]
    return keys, {n: chose(int(sign)) for n, sign in enumerate(pattern) if sign != "-"}


# answers, safety-critical, pass mark, passed?, why
PASSING = [
    ("11111", "", 80, True, "all right"),
    ("11110", "", 80, True, "4 of 5 is 80 per cent exactly"),
    ("11100", "", 80, False, "3 of 5 is not"),
    ("1111-", "", 80, True, "one not answered is one wrong"),
    ("11110", "    !", 80, False, "enough right, but the safety-critical one is wrong"),
    ("1111-", "    !", 80, False, "or was not answered"),
    ("11110", "!   ", 80, True, "the safety-critical one is right"),
    ("11111", "!!!!!", 80, True, "all of them are"),
    ("11100", "!", 80, False, "the safety-critical one right, but not enough"),
    ("110", "", 67, False, "2 of 3 is 66.7 per cent: never rounded up"),
    ("110", "", 66, True, "and enough for 66"),
    ("1111111", "", 100, True, "100 per cent"),
    ("1111110", "", 100, False, "one short of it"),
    ("0", "", 1, False, "none right"),
    ("1" * 10 + "0" * 990, "", 1, True, "1 per cent of a thousand"),
    ("1" * 9 + "0" * 991, "", 1, False, "just less"),
    ("", "", 1, False, "an empty quiz is never passed"),
]


@pytest.mark.parametrize(
    "pattern, critical, mark, passed, why", PASSING, ids=[r[4] for r in PASSING]
)
def test_passing(pattern: str, critical: str, mark: int, passed: bool, why: str) -> None:
    result = score(*attempt(pattern, critical), pass_mark=mark)
    assert result.passed is passed
    assert (result.right, result.total) == (pattern.count("1"), len(pattern))


def test_what_was_wrong_comes_in_quiz_order_with_the_unsafe_ones_apart() -> None:
    result = score(*attempt("0110-", "!!  !"), pass_mark=80)
    assert result.wrong == (0, 3, 4)
    assert result.unsafe == (0, 4)


def test_answers_to_other_questions_count_nothing() -> None:
    keys, given_answers = attempt("1110")
    assert score(keys, {**given_answers, 99: chose(1)}, pass_mark=80).right == 3


# Items, how many must be right, and the probability of passing for somebody who knows each answer
# with probability p: the exact binomial distribution (checked with scipy.stats.binom, 4 places).
BINOMIAL = [
    (
        5,
        4,
        80,
        {
            0.25: 0.0156,
            0.5: 0.1875,
            0.6: 0.3370,
            0.7: 0.5282,
            0.8: 0.7373,
            0.9: 0.9185,
            0.95: 0.9774,
        },
    ),
    (
        10,
        8,
        80,
        {
            0.25: 0.0004,
            0.5: 0.0547,
            0.6: 0.1673,
            0.7: 0.3828,
            0.8: 0.6778,
            0.9: 0.9298,
            0.95: 0.9885,
        },
    ),
    (
        5,
        5,
        100,
        {
            0.25: 0.0010,
            0.5: 0.0312,
            0.6: 0.0778,
            0.7: 0.1681,
            0.8: 0.3277,
            0.9: 0.5905,
            0.95: 0.7738,
        },
    ),
]


@pytest.mark.parametrize("items, needed, mark, published", BINOMIAL)
def test_the_chance_of_passing_is_the_binomial_one(
    items: int, needed: int, mark: int, published: dict[float, float]
) -> None:
    """Every pattern of right and wrong is scored; nothing is drawn at random."""
    passed = [
        sum(pattern)
        for pattern in product([0, 1], repeat=items)
        if score(*attempt("".join(map(str, pattern))), pass_mark=mark).passed
    ]
    assert min(passed) == needed
    for p, expected in published.items():
        chance = sum(p**right * (1 - p) ** (items - right) for right in passed)
        assert chance == pytest.approx(expected, abs=1e-4)


@given(st.text("01-", max_size=12), st.text(" !", max_size=12), st.integers(1, 100))
def test_one_more_right_answer_never_makes_it_worse(pattern: str, critical: str, mark: int) -> None:
    before = score(*attempt(pattern, critical), pass_mark=mark)
    for place in before.wrong:
        better = pattern[:place] + "1" + pattern[place + 1 :]
        after = score(*attempt(better, critical), pass_mark=mark)
        assert after.right == before.right + 1
        assert after.passed >= before.passed


def past(*attempts: str) -> list[PastAttempt]:
    """ "p" passed, "f" failed, "f:a,b" failed with the safety-critical questions a and b wrong."""
    listed = []
    for written in attempts:
        outcome, _, unsafe = written.partition(":")
        listed.append(PastAttempt(outcome == "p", frozenset(filter(None, unsafe.split(",")))))
    return listed


# attempts, allowed, teach-back needed?, why
TEACH_BACK = [
    (past(), 3, False, "not tried yet"),
    (past("f"), 3, False, "failed once"),
    (past("f", "f"), 3, False, "failed twice, one attempt left"),
    (past("f", "f", "f"), 3, True, "attempts used up"),
    (past("f", "f", "f", "f"), 3, True, "more than used up: fewer are allowed since"),
    (past("f"), 1, True, "one attempt allowed"),
    (past("f:fluids"), 3, False, "a safety-critical question wrong once"),
    (past("f:fluids", "f:fluids"), 3, True, "wrong twice"),
    (past("f:fluids", "f:vomiting"), 3, False, "two of them, each once"),
    # A question has one key in all its versions, so another wording of it is the same question.
    (past("f:fluids", "f", "f:fluids"), 5, True, "wrong twice, with another attempt between"),
    (past("f:fluids,vomiting", "f:vomiting"), 5, True, "one of two a second time"),
    (past("f", "f", "p"), 3, False, "passed at last"),
    (past("f", "f", "f", "p"), 3, False, "a pass after a teach-back ends it"),
    (past("f:fluids", "p", "f:fluids"), 3, False, "the pass between ends the count"),
    (past("p", "f", "f", "f"), 3, True, "used up again in a later round"),
]


@pytest.mark.parametrize(
    "attempts, allowed, needed, why", TEACH_BACK, ids=[r[3] for r in TEACH_BACK]
)
def test_needs_teach_back(
    attempts: Sequence[PastAttempt], allowed: int, needed: bool, why: str
) -> None:
    assert needs_teach_back(attempts, attempts_allowed=allowed) is needed
