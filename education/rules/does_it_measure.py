"""Does a question tell who has understood from who has not?

The findings are reasons to read a question again, never to drop one by themselves: sources disagree
on where "too easy" begins, and a safety-critical question should be easy once it was taught.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations
from math import sqrt

from education.rules.item_statistics import Choice, Item

LEAST = 30
"""With fewer quizzes nothing but counts is said: a third of them is fewer than ten patients. (From
memory: thirty is the usual least number for looking at questions one by one.)"""

FEW = 100
"""With fewer, what is said about discrimination is called uncertain: its interval is still 0.2 and
more to either side (1.96 / sqrt(97))."""

VERY_EASY = 0.90  # above it: "reject" in one table, "too easy" in others
HARD = 0.30  # below it, in the same tables
WEAK = 0.20  # Ebel: below it a question is poor
GOOD_RELIABILITY = 0.70  # usual for a test in class
SURELY = 1.96  # standard errors between two shares, before they are called different


class Finding(StrEnum):
    """What there is to say about a question, the most urgent first."""

    BACKWARDS = "backwards"  # the better a patient did, the more likely the answer was wrong
    PERHAPS_BACKWARDS = "perhaps_backwards"  # the same, but it may be chance
    DRAWS_THE_BEST = "draws_the_best"  # a wrong choice that the best third takes more often
    VERSIONS_DIFFER = "versions_differ"  # one version is harder than another
    HARD = "hard"
    WEAK = "weak"
    VERY_EASY = "very_easy"
    EASY_AS_IT_SHOULD_BE = "easy_as_it_should_be"  # safety-critical, and nearly all have it right
    NEVER_CHOSEN = "never_chosen"  # a wrong option that nobody takes


GRAVE = frozenset({Finding.BACKWARDS, Finding.DRAWS_THE_BEST, Finding.VERSIONS_DIFFER})
"""What should be read again first."""


@dataclass(frozen=True)
class Offered:
    """A choice that a question offers, or that was given to it."""

    name: str
    right: bool


def findings(
    figures: Item, *, safety_critical: bool = False, offered: Sequence[Offered] = ()
) -> tuple[Finding, ...]:
    """Return what there is to say about one question, whatever the number of quizzes.

    Whether there are enough of them to say it is `enough`. Bands: standards table of item analysis
    (sources disagree: .30 to .70, .20 to .80 or .30 to .90 for difficulty).
    """
    if figures.difficulty is None:
        return ()
    right = {choice.name for choice in offered if choice.right}
    known = {choice.name for choice in offered}
    easy = figures.difficulty > VERY_EASY
    found = [_backwards(figures)]
    if any(_draws_the_best(c, figures) for c in figures.choices if c.name in known - right):
        found.append(Finding.DRAWS_THE_BEST)
    if figures.difficulty < HARD:
        found.append(Finding.HARD)
    r = figures.discrimination
    # Where nearly everybody is right there is nothing to agree with: low is expected, and no fault.
    if r is not None and 0 <= r < WEAK and not easy:
        found.append(Finding.WEAK)
    if easy:
        found.append(Finding.EASY_AS_IT_SHOULD_BE if safety_critical else Finding.VERY_EASY)
    if not easy and any(not c.count for c in figures.choices if c.name in known - right):
        found.append(Finding.NEVER_CHOSEN)
    return tuple(one for one in found if one)


def versions_differ(versions: Mapping[str, Item]) -> bool:
    """Whether one parallel version is surely harder than another: their intervals are apart."""
    within = [v.difficulty_within for v in versions.values() if v.answered >= LEAST]
    return any(one and two and one.apart_from(two) for one, two in combinations(within, 2))


def enough(answered: int) -> bool:
    """Whether there are enough quizzes to say more than how many there are."""
    return answered >= LEAST


def _backwards(figures: Item) -> Finding | None:
    within = figures.discrimination_within
    if figures.discrimination is None or within is None or figures.discrimination >= 0:
        return None
    return Finding.BACKWARDS if within.high < 0 else Finding.PERHAPS_BACKWARDS


def _draws_the_best(choice: Choice, figures: Item) -> bool:
    """Whether surely more of the best third than of the lowest chose it."""
    if choice.upper is None or choice.lower is None or choice.upper <= choice.lower:
        return False
    spread = choice.upper * (1 - choice.upper) + choice.lower * (1 - choice.lower)
    return choice.upper - choice.lower > SURELY * sqrt(spread / (figures.answered / 3))
