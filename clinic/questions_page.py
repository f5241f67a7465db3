"""Read what the pages of patients' questions show."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Prefetch, QuerySet

from clinic import question_words
from education.answer import given_of, stand_of
from education.models import PatientQuestion, QuestionAnswer
from education.rules.asking import Stand
from patients.models import Patient, latest_first
from patients.speaks_for import spoken_for

ROWS = 50
WHOSE = "invitation__assignment__operation__patient"


@dataclass(frozen=True)
class AnswerLine:
    """One answer, with how it was given and what became of it."""

    record: QuestionAnswer
    words: str


@dataclass(frozen=True)
class QuestionRow:
    """One question with everything that a list says of it."""

    record: PatientQuestion
    about: str
    stand: Stand
    stand_words: str
    step: str
    answers: list[AnswerLine]

    @property
    def patient(self) -> Patient:
        return self.record.patient


@dataclass(frozen=True)
class Listed:
    """The questions that wait, the oldest first, or those that were answered last."""

    rows: list[QuestionRow]
    waiting: int


def listed(*, answered: bool) -> Listed:
    """Return one list of questions."""
    waiting = PatientQuestion.objects.waiting()
    count = waiting.count()
    if answered:
        found = PatientQuestion.objects.filter(answers__isnull=False).distinct()
        found = found.exclude(pk__in=waiting.values("pk")).order_by(*latest_first())
    else:
        found = waiting.order_by("recorded_at", "pk")
    return Listed(rows(with_answers(found)[:ROWS]), count)


def with_answers(found: QuerySet[PatientQuestion]) -> QuerySet[PatientQuestion]:
    """Return questions with all that their rows read."""
    answers = QuestionAnswer.objects.select_related("link__message", "by")
    return found.select_related(
        "edition__module", f"{WHOSE}", "invitation__assignment__operation__procedure"
    ).prefetch_related(Prefetch("answers", queryset=answers))


def rows(found: Iterable[PatientQuestion]) -> list[QuestionRow]:
    """Return the rows of questions that were read by `with_answers`."""
    listed = list(found)
    about = question_words.about_words(listed)
    return [_row(one, about[one.pk]) for one in listed]


def row(question: PatientQuestion) -> QuestionRow:
    """Return one question's row."""
    return rows([question])[0]


def _row(question: PatientQuestion, about: str) -> QuestionRow:
    stand = stand_of(question)
    return QuestionRow(
        record=question,
        about=about,
        stand=stand,
        stand_words=question_words.STAND[stand],
        step=question_words.next_step(stand, question.patient),
        answers=[
            AnswerLine(one, question_words.answer_words(one, given_of(one).arrived))
            for one in question.answers.all()
        ],
    )


def earlier(question: PatientQuestion) -> list[QuestionRow]:
    """Return the other questions of the same patient, the latest first."""
    records = list(spoken_for([question.patient.pk]))
    found = PatientQuestion.objects.of(records).exclude(pk=question.pk)
    return rows(with_answers(found.order_by(*latest_first()))[:ROWS])
