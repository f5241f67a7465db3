"""What is a text's Clear Communication Index?

The CDC's index asks twenty questions of a text; somebody who knows its readers answers them. Items
1 to 11 apply to every text, the others where the text asks for a behaviour, has numbers, or speaks
of a risk. The index is the points in per cent of the items that apply; 90 and more passes. Source:
CDC Clear Communication Index, score sheet and widget (cdc.gov/ccindex). The items are told here in
words of our own; its user guide says what counts as a point.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

PASSING = 90


class Part(StrEnum):
    """The parts of the index; all but the first may not apply to a text."""

    CORE = "core"
    BEHAVIOUR = "behaviour"
    NUMBERS = "numbers"
    RISK = "risk"


ITEMS: Mapping[Part, tuple[int, ...]] = {
    Part.CORE: tuple(range(1, 12)),
    Part.BEHAVIOUR: (12, 13, 14),
    Part.NUMBERS: (15, 16, 17),
    Part.RISK: (18, 19, 20),
}


class Answer(StrEnum):
    """What was said of an item."""

    YES = "yes"  # a point: every instance in the text does it
    NO = "no"
    DOES_NOT_APPLY = "na"


@dataclass(frozen=True)
class Index:
    """`points` of `applicable` items; `missed` are the items without a point, in their order."""

    points: int
    applicable: int
    missed: tuple[int, ...]

    @property
    def score(self) -> float:
        """The index, 0 to 100, not rounded."""
        return self.points * 100 / self.applicable

    @property
    def passes(self) -> bool:
        """Whether it is 90 or more; 89.47 is not."""
        return self.points * 100 >= PASSING * self.applicable


def may_not_apply(item: int) -> bool:
    """Whether an item may be left out: those of the later parts alone."""
    return item not in ITEMS[Part.CORE]


def index(answers: Mapping[int, Answer]) -> Index:
    """Return the index of all twenty answers.

    Raises ValueError when one is missing, or when one that always applies is said not to.
    """
    items = [item for part in Part for item in ITEMS[part]]
    missing = [item for item in items if item not in answers]
    if missing:
        raise ValueError(f"not answered: {', '.join(str(item) for item in missing)}")
    left_out = {item for item in items if answers[item] == Answer.DOES_NOT_APPLY}
    wrongly = sorted(item for item in left_out if not may_not_apply(item))
    if wrongly:
        raise ValueError(f"always applies: {', '.join(str(item) for item in wrongly)}")
    missed = tuple(item for item in items if answers[item] == Answer.NO)
    applicable = len(items) - len(left_out)
    return Index(applicable - len(missed), applicable, missed)
