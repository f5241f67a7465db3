"""What a call sheet says about each point: what to ask, what was answered, and what is right."""

from collections.abc import Iterable
from dataclasses import dataclass

from education.answers_in_words import in_words, right_answer
from education.given import from_json
from education.models import Question
from education.teach_back import Point
from education.teach_back_words import asked
from patients.rules.languages import SOURCE_LANGUAGE


@dataclass(frozen=True)
class Line:
    """One point in English; what ends in `_theirs` is in the patient's own language, if another.

    `answered` is empty where no quiz got it wrong; `times` is how often one did.
    """

    question: Question
    stem: str
    ask: str
    answered: str
    right: str
    explanation: str
    stem_theirs: str
    ask_theirs: str
    right_theirs: str
    times: int


def lines(points: Iterable[Point], *, language: str) -> list[Line]:
    """Return the points in words; `language` is the patient's."""
    return [_line(point, language) for point in points]


def _line(point: Point, language: str) -> Line:
    question = point.question
    theirs = language if language != SOURCE_LANGUAGE and language in question.stem else ""
    answered = ""
    if point.missed:
        given = from_json(point.missed.given) if point.missed.given else None
        answered = "; ".join(in_words(question, given, SOURCE_LANGUAGE)) or "no answer"
    return Line(
        question=question,
        stem=question.stem[SOURCE_LANGUAGE],
        ask=asked(question, SOURCE_LANGUAGE),
        answered=answered,
        right=_right(question, SOURCE_LANGUAGE),
        explanation=question.explanation.get(SOURCE_LANGUAGE, ""),
        stem_theirs=question.stem[theirs] if theirs else "",
        ask_theirs=asked(question, theirs) if theirs else "",
        right_theirs=_right(question, theirs) if theirs else "",
        times=point.times,
    )


def _right(question: Question, language: str) -> str:
    return "; ".join(in_words(question, right_answer(question), language))
