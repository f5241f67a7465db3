"""Item statistics, reliability and pass marks, held against published data and against scipy."""

from collections import Counter
from collections.abc import Iterable
from statistics import pvariance, variance

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from education.rules.does_it_measure import Finding, findings
from education.rules.incomplete_beta import f_quantile
from education.rules.item_statistics import Item, Tally, item, wilson
from education.rules.pass_mark import Quiz, at_least, chance_of_passing, questions_for
from education.rules.reliability import alpha, feldt, kr20, lengthened

Patterns = dict[tuple[int, ...], int]

# PSY-1. Source: statistics teaching note "The Kuder-Richardson 20",
# core.ecu.edu/wuenschk/StatHelp/KR20.txt: ten students, ten items.
TEN = """
1111110110 1011011101 1111011001 0010001000 0000010010
1110111111 1101110111 1111111101 0101111101 1101101110
"""
# PSY-6. Source: Bock and Lieberman 1970, LSAT section 6, 1000 examinees, 5 items (patterns of the
# published table).
LSAT_6 = """
00000:3 00001:6 00010:2 00011:11 00100:1 00101:1 00110:3 00111:4 01000:1 01001:8 01011:16 01101:3
01110:2 01111:15 10000:10 10001:29 10010:14 10011:81 10100:3 10101:28 10110:15 10111:80 11000:16
11001:56 11010:21 11011:173 11100:11 11101:61 11110:28 11111:298
"""


def _read(text: str) -> Patterns:
    patterns: Counter[tuple[int, ...]] = Counter()
    for entry in text.split():
        signs, _, count = entry.partition(":")
        patterns[tuple(int(sign) for sign in signs)] += int(count or 1)
    return dict(patterns)


def _items(patterns: Patterns) -> list[Item]:
    places = range(len(next(iter(patterns))))
    return [
        item(
            Tally(sum(signs), bool(signs[place]), frozenset(), count)
            for signs, count in patterns.items()
        )
        for place in places
    ]


def _totals(patterns: Patterns) -> Counter[int]:
    totals: Counter[int] = Counter()
    for signs, count in patterns.items():
        totals[sum(signs)] += count
    return totals


def _kr20(patterns: Patterns) -> float | None:
    return kr20([one.difficulty or 0.0 for one in _items(patterns)], _totals(patterns))


def _correlations(items: Iterable[Item]) -> list[float | None]:
    return [one.discrimination for one in items]


def test_psy_1_and_2_ten_students() -> None:
    patterns = _read(TEN)
    assert sorted(_totals(patterns).elements()) == sorted([8, 7, 7, 2, 2, 9, 8, 9, 7, 7])
    shares = [one.difficulty or 0.0 for one in _items(patterns)]
    assert shares == pytest.approx([0.7, 0.7, 0.6, 0.7, 0.6, 0.8, 0.7, 0.7, 0.5, 0.6], abs=1e-9)
    assert sum(p * (1 - p) for p in shares) == pytest.approx(2.18, abs=1e-9)
    assert pvariance(_totals(patterns).elements()) == pytest.approx(5.84, abs=1e-9)
    assert _kr20(patterns) == pytest.approx(0.6963470, abs=1e-6)
    # PSY-3: the sum of pq beside the variance of a sample would give this wrong one.
    assert _kr20(patterns) != pytest.approx(0.7378234, abs=1e-3)


def test_psy_4_item_rest_correlations_and_what_is_flagged() -> None:
    items = _items(_read(TEN))
    published = [0.7059, 0.7059, 0.0, 0.4736, 0.5839, 0.2861, -0.0274, 0.7059, -0.1236, 0.4759]
    assert _correlations(items) == pytest.approx(published, abs=1e-4)
    flagged = {place: findings(one) for place, one in enumerate(items, start=1) if findings(one)}
    assert flagged == {
        3: (Finding.WEAK,),
        7: (Finding.PERHAPS_BACKWARDS,),
        9: (Finding.PERHAPS_BACKWARDS,),
    }


def test_psy_6_and_7_lsat_6() -> None:
    patterns = _read(LSAT_6)
    items = _items(patterns)
    assert len(patterns) == 30
    assert sum(patterns.values()) == 1000
    assert [round((one.difficulty or 0) * 1000) for one in items] == [924, 709, 553, 763, 870]
    assert sorted(_totals(patterns).items()) == [*enumerate([3, 20, 85, 237, 357, 298])]
    assert _kr20(patterns) == pytest.approx(0.294997, abs=1e-4)
    published = [0.1128, 0.1532, 0.1728, 0.1444, 0.1216]
    assert _correlations(items) == pytest.approx(published, abs=1e-4)


# PSY-9 and PSY-10, from what alpha is made of: the variances of the items and of the totals, each
# times n(n - 1), as computed from pingouin's data sets cronbach_alpha (15 people x 10 items) and
# cronbach_wide_missing (12 x 11; the nine complete rows, and filled up with medians).
@pytest.mark.parametrize(
    ("published", "of_items", "of_totals"),
    [
        (0.591719, [614, 446, 264, 254, 354, 606, 516, 296, 474, 456], 9156),
        (0.801695, [8, 8, 14, 14, 18, 18, 18, 18, 18, 18, 8], 590),
        (0.738019, [20, 27, 27, 27, 32, 36, 35, 35, 32, 27, 11], 939),
    ],
)
def test_psy_9_and_10_alpha(published: float, of_items: list[int], of_totals: int) -> None:
    assert alpha(of_items, of_totals) == pytest.approx(published, abs=1e-5)


# PSY-9 and PSY-10. Source: pingouin's documentation of cronbach_alpha (Feldt's interval), its
# examples of 15 people x 10 items and 12 x 11. Its interval for the nine complete rows alone
# (0.801695) counts all twelve people; nine would give .533 to .947.
@pytest.mark.parametrize(
    ("published", "people", "items", "low", "high"),
    [
        (0.591719, 15, 10, 0.195, 0.840),
        (0.801695, 12, 11, 0.581, 0.933),
        (0.738019, 12, 11, 0.447, 0.911),
        (0.732661, 12, 11, 0.435, 0.909),
    ],
)
def test_psy_9_and_10_feldts_interval(
    published: float, people: int, items: int, low: float, high: float
) -> None:
    within = feldt(published, people=people, items=items)
    assert within is not None
    assert (round(within.low, 3), round(within.high, 3)) == (low, high)


def test_psy_12_twice_as_many_questions() -> None:
    assert lengthened(0.294997, 2) == pytest.approx(0.45559, abs=1e-5)


# Binomial table of the standards, section 4.3: exact, to 1e-4.
@pytest.mark.parametrize(
    ("questions", "needed", "chances"),
    [
        (5, 4, [0.0156, 0.1875, 0.3370, 0.5282, 0.7373, 0.9185, 0.9774]),
        (10, 8, [0.0004, 0.0547, 0.1673, 0.3828, 0.6778, 0.9298, 0.9885]),
        (20, 16, [0.0000, 0.0059, 0.0510, 0.2375, 0.6296, 0.9568, 0.9974]),
        (5, 5, [0.0010, 0.0312, 0.0778, 0.1681, 0.3277, 0.5905, 0.7738]),
    ],
)
def test_the_binomial_table(questions: int, needed: int, chances: list[float]) -> None:
    quiz = Quiz(questions, needed * 100 // questions)
    assert quiz.needed == needed
    found = [chance_of_passing(quiz, p) for p in (0.25, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95)]
    assert found == pytest.approx(chances, abs=1e-4)


def test_psy_30_and_31_retakes_and_length() -> None:
    """PSY-30: who knows 60 % passes 4 of 5 in one of three tries; PSY-31: 12 questions it takes."""
    assert chance_of_passing(Quiz(5, 80), 0.6, tries=3) == pytest.approx(0.7085, abs=1e-4)
    assert chance_of_passing(Quiz(5, 80), 0.6, tries=2) == pytest.approx(0.5604, abs=1e-4)
    shortest = questions_for(80)
    assert shortest == Quiz(12, 80)
    assert shortest.needed == 10
    assert chance_of_passing(shortest, 0.6) == pytest.approx(0.0834, abs=1e-4)
    assert chance_of_passing(shortest, 0.9) == pytest.approx(0.8891, abs=1e-4)


def test_psy_32_what_must_be_right_has_to_be_right() -> None:
    """All questions safety-critical is the same as a pass mark of 100 %."""
    all_safe = Quiz(5, 80, must_be_right=5)
    assert chance_of_passing(all_safe, 0.8) == pytest.approx(0.3277, abs=1e-4)
    assert chance_of_passing(Quiz(5, 80, must_be_right=1), 0.8) < 0.7373


@settings(max_examples=25, deadline=None)
@given(
    st.floats(0.001, 0.999), st.integers(1, 400), st.integers(1, 4000), st.integers(0, 400).map(int)
)
def test_the_small_functions_agree_with_scipy(p: float, people: int, lower: int, hits: int) -> None:
    """Outside source: scipy's F and binomial distributions, and its Wilson interval."""
    assert f_quantile(p, people, lower) == pytest.approx(stats.f.ppf(p, people, lower), rel=1e-8)
    hits = min(hits, people)
    at_least_scipy = stats.binom.sf(hits - 1, people, p)
    assert at_least(hits, of=people, chance=p) == pytest.approx(at_least_scipy, abs=1e-9)
    interval = stats.binomtest(hits, people).proportion_ci(method="wilson")
    within = wilson(hits, people)
    assert (within.low, within.high) == pytest.approx((interval.low, interval.high), abs=1e-12)


_SHEETS = st.lists(st.tuples(*[st.booleans()] * 6), min_size=3, max_size=60)


@settings(max_examples=25, deadline=None)
@given(_SHEETS)
def test_random_quizzes_agree_with_scipy_and_with_alpha(sheets: list[tuple[bool, ...]]) -> None:
    """Outside source: scipy's point-biserial correlation. KR-20 is alpha, of whichever variance."""
    patterns = _read(" ".join("".join(str(int(sign)) for sign in sheet) for sheet in sheets))
    for place, one in enumerate(_items(patterns)):
        ones = [sheet[place] for sheet in sheets]
        rests = [sum(sheet) - sheet[place] for sheet in sheets]
        if len(set(ones)) == 1 or len(set(rests)) == 1:
            assert one.discrimination is None
        else:
            theirs = stats.pointbiserialr(ones, rests).statistic
            assert one.discrimination == pytest.approx(theirs, abs=1e-9)
    columns = [[int(sheet[place]) for sheet in sheets] for place in range(6)]
    of_sample = alpha([variance(c) for c in columns], variance([sum(s) for s in sheets]))
    found = _kr20(patterns)
    assert found == (None if of_sample is None else pytest.approx(of_sample, abs=1e-9))
