"""How hard is a question, and do those who know more get it right more often?

Everything is computed from counts: how many patients, with so many right in the whole quiz, gave
which answer. Such counts are all that these figures need, they are exact whole numbers, and a
database can count them.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import atanh, sqrt, tanh
from statistics import NormalDist

CONFIDENCE = 0.95
_Z = NormalDist().inv_cdf(0.5 + CONFIDENCE / 2)
_ALL_BUT_ONE = 1 - 1e-9  # the transformation has no value at a correlation of 1


@dataclass(frozen=True)
class Tally:
    """`count` patients gave one and the same answer to a question, and had `total` right in all.

    `choices` names what was given: an option, several, a number, a pair; empty for no answer.
    """

    total: int
    right: bool
    choices: frozenset[str]
    count: int


@dataclass(frozen=True)
class Interval:
    """An interval that holds the true value in 95 of 100 such samples."""

    low: float
    high: float

    def apart_from(self, other: "Interval") -> bool:
        """Whether the two have no value in common."""
        return self.high < other.low or other.high < self.low


@dataclass(frozen=True)
class Choice:
    """One thing that could be given: how many gave it, and its share in the two outer thirds.

    Shares are 0 to 1, of the third who did best, and of the third who did worst, on the other
    questions; None when nobody answered.
    """

    name: str
    count: int
    upper: float | None
    lower: float | None


@dataclass(frozen=True)
class Item:
    """The figures of one question, or of one version of it.

    `difficulty` is the share right, 0 to 1. `discrimination` is the corrected point-biserial
    correlation, -1 to 1: right or wrong here against the number right of the other questions. None
    where nothing can be said: nobody answered, or all the same.
    """

    answered: int
    right: int
    difficulty: float | None
    difficulty_within: Interval | None
    discrimination: float | None
    discrimination_within: Interval | None
    choices: tuple[Choice, ...]


def item(tallies: Iterable[Tally], *, offered: Sequence[str] = ()) -> Item:
    """Return the figures of one question.

    `offered` are the choices to list even if nobody gave them, in their order; what was given
    besides stands behind them, the most frequent first.
    """
    listed = list(tallies)
    answered = sum(t.count for t in listed)
    right = sum(t.count for t in listed if t.right)
    correlation = rest_correlation(listed)
    return Item(
        answered=answered,
        right=right,
        difficulty=right / answered if answered else None,
        difficulty_within=wilson(right, answered) if answered else None,
        discrimination=correlation,
        discrimination_within=None if correlation is None else fisher(correlation, answered),
        choices=_choices(listed, offered),
    )


def wilson(right: int, answered: int) -> Interval:
    """Return the score interval of a share; `answered` is at least 1.

    Source: E. B. Wilson, J Am Stat Assoc 1927;22:209-212. It stays within 0 and 1 and is not empty
    when everybody is right.
    """
    share, n = right / answered, answered
    middle = share + _Z * _Z / (2 * n)
    reach = _Z * sqrt(share * (1 - share) / n + _Z * _Z / (4 * n * n))
    whole = 1 + _Z * _Z / n
    low, high = (middle - reach) / whole, (middle + reach) / whole
    return Interval(low if right else 0.0, high if right < n else 1.0)


def fisher(correlation: float, pairs: int) -> Interval:
    """Return the interval of a correlation; -1 to 1 when there are too few pairs to say anything.

    Source: R. A. Fisher, Metron 1921;1:3-32 (z transformation). For right and wrong it is an
    approximation, so it decides how carefully something is said, and nothing else.
    """
    if pairs <= 3:
        return Interval(-1.0, 1.0)
    reach = _Z / sqrt(pairs - 3)
    middle = atanh(max(-_ALL_BUT_ONE, min(correlation, _ALL_BUT_ONE)))
    return Interval(tanh(middle - reach), tanh(middle + reach))


def rest_correlation(tallies: Iterable[Tally]) -> float | None:
    """Return the corrected point-biserial correlation; None when either side does not vary.

    The question itself is taken out of the number right, or it would agree with itself.
    """
    n = ones = rests = squares = together = 0
    for t in tallies:
        rest = t.total - t.right
        n += t.count
        rests += t.count * rest
        squares += t.count * rest * rest
        if t.right:
            ones += t.count
            together += t.count * rest
    varies = (n * ones - ones * ones) * (n * squares - rests * rests)
    return (n * together - ones * rests) / sqrt(varies) if varies > 0 else None


def _choices(tallies: Sequence[Tally], offered: Sequence[str]) -> tuple[Choice, ...]:
    rest_counts: Counter[int] = Counter()
    given: dict[str, Counter[int]] = {name: Counter() for name in offered}
    for t in tallies:
        rest = t.total - t.right
        rest_counts[rest] += t.count
        for name in t.choices:
            given.setdefault(name, Counter())[rest] += t.count
    third = Fraction(rest_counts.total(), 3)
    upper = _share_taken(rest_counts, sorted(rest_counts, reverse=True), third)
    lower = _share_taken(rest_counts, sorted(rest_counts), third)
    found = [
        Choice(name, by_rest.total(), _share(by_rest, upper, third), _share(by_rest, lower, third))
        for name, by_rest in given.items()
    ]
    besides = sorted(found[len(offered) :], key=lambda c: (-c.count, c.name))
    return (*found[: len(offered)], *besides)


def _share_taken(
    counts: Mapping[int, int], order: Sequence[int], third: Fraction
) -> dict[int, Fraction]:
    """Return of each number right which share of its patients is in the third that begins `order`.

    The third is cut through equals in proportion, so that no order of the records decides who is
    in it.
    """
    left, taken = third, {}
    for rest in order:
        share = min(Fraction(1), left / counts[rest])
        taken[rest] = share
        left -= share * counts[rest]
    return taken


def _share(
    by_rest: Mapping[int, int], taken: Mapping[int, Fraction], third: Fraction
) -> float | None:
    if not third:
        return None
    return float(sum(count * taken[rest] for rest, count in by_rest.items()) / third)
