"""How surely does the pass mark tell those who know enough from those who do not?

The binomial model: who truly knows a share of all that could be asked gets each question right with
that chance, one question as hard as another. Real questions differ, so the answer is a first
approximation; it says above all how little a short quiz can tell. Source of the method:
R. R. Wilcox, J Educ Stat 1979;4:59-73 (doi 10.3102/10769986004001059).
"""

from dataclasses import dataclass
from math import comb

KNOWING = (0.25, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95)
"""Shares truly known that are worth telling; 0.25 is guessing among four options."""


@dataclass(frozen=True)
class Quiz:
    """`pass_mark` in whole per cent; of the questions, so many must be right for safety."""

    questions: int
    pass_mark: int
    must_be_right: int = 0

    @property
    def needed(self) -> int:
        """How many questions have to be right to reach the pass mark."""
        return -(-self.pass_mark * self.questions // 100)


def chance_of_passing(quiz: Quiz, knows: float, *, tries: int = 1) -> float:
    """Return with which chance somebody who truly knows the share `knows` passes in some try.

    Tries count as independent: nothing is learned between them, and nothing remembered.
    """
    others = quiz.questions - quiz.must_be_right
    once = knows**quiz.must_be_right * at_least(
        quiz.needed - quiz.must_be_right, of=others, chance=knows
    )
    return float(1 - (1 - once) ** tries)


def at_least(hits: int, *, of: int, chance: float) -> float:
    """Return the binomial chance of `hits` or more among `of`."""
    return sum(
        comb(of, k) * chance**k * (1 - chance) ** (of - k) for k in range(max(hits, 0), of + 1)
    )


def questions_for(
    pass_mark: int,
    *,
    too_little: float = 0.6,
    wrongly: float = 0.1,
    enough: float = 0.9,
    rightly: float = 0.8,
    longest: int = 200,
) -> Quiz | None:
    """Return the shortest quiz that tells those who know too little from those who know enough.

    Who knows `too_little` passes with a chance of `wrongly` at most, who knows `enough` with
    `rightly` at least. None when no quiz of up to `longest` questions does.
    """
    for questions in range(1, longest + 1):
        quiz = Quiz(questions, pass_mark)
        passes_wrongly = chance_of_passing(quiz, too_little)
        if passes_wrongly <= wrongly and chance_of_passing(quiz, enough) >= rightly:
            return quiz
    return None
