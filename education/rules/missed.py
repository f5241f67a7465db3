"""What do missed questions say about the section of the module that they ask about?"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from education.rules.does_it_measure import GRAVE, Finding, enough
from education.rules.item_statistics import Item

MANY = 0.30
"""From this share wrong on, a section is worth reading again."""

FEW = 0.10


class Reading(StrEnum):
    """What the misses of a section suggest."""

    NOT_ASKED = "not_asked"  # no question points to it
    TOO_FEW = "too_few"  # too few quizzes to say
    QUESTIONS_FIRST = "questions_first"  # many wrong, but the questions are in doubt themselves
    TEACHING_FIRST = "teaching_first"  # many wrong, and the questions are sound
    SOME = "some"
    GETS_ACROSS = "gets_across"


@dataclass(frozen=True)
class Asked:
    """A question of a section, with its figures and findings."""

    question: str
    figures: Item
    findings: tuple[Finding, ...]

    @property
    def wrong(self) -> int:
        """How many got it wrong."""
        return self.figures.answered - self.figures.right


@dataclass(frozen=True)
class Section:
    """A section: how many answers to its questions were wrong, of how many, and what that says.

    `asked` holds its questions, the one that was missed most first.
    """

    wrong: int
    answers: int
    reading: Reading
    asked: tuple[Asked, ...]

    @property
    def share_wrong(self) -> float:
        """The share of wrong answers, 0 to 1; 0 without answers."""
        return self.wrong / self.answers if self.answers else 0.0


def section(asked: Iterable[Asked]) -> Section:
    """Read what the misses of one section say.

    Many misses point to the teaching only if the questions are sound. A question that the best get
    wrong as well, or that few get right whatever they know, is read again before the section is.
    """
    listed = sorted(asked, key=lambda a: (-_share_wrong(a), a.question))
    wrong, answers = sum(a.wrong for a in listed), sum(a.figures.answered for a in listed)
    return Section(wrong, answers, _reading(listed, wrong, answers), tuple(listed))


def _share_wrong(asked: Asked) -> float:
    return asked.wrong / asked.figures.answered if asked.figures.answered else 0.0


def _reading(asked: list[Asked], wrong: int, answers: int) -> Reading:
    if not asked:
        return Reading.NOT_ASKED
    if not enough(min(a.figures.answered for a in asked)):
        return Reading.TOO_FEW
    share = wrong / answers
    missed = [a for a in asked if _share_wrong(a) >= MANY]
    doubtful = [a for a in missed if _in_doubt(a)]
    if missed and len(doubtful) == len(missed):
        return Reading.QUESTIONS_FIRST
    if share >= MANY or missed:
        return Reading.TEACHING_FIRST
    return Reading.SOME if share > FEW else Reading.GETS_ACROSS


def _in_doubt(asked: Asked) -> bool:
    if GRAVE & set(asked.findings):
        return True
    return Finding.HARD in asked.findings and Finding.WEAK in asked.findings
