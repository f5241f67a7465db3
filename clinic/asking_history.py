"""What a patient asked, and what was answered, in the history of the patient's page."""

from collections.abc import Collection, Iterator
from datetime import datetime

from clinic import question_words
from education.answer import given_of
from education.models import PatientQuestion, QuestionAnswer

LONGEST = 120  # characters of a text that are shown


def told_of(operation_ids: Collection[int]) -> Iterator[tuple[datetime, str, str, str]]:
    """Yield when, what, in which words, and who: each question and each answer to one."""
    asked = PatientQuestion.objects.filter(
        invitation__assignment__operation__in=operation_ids
    ).select_related("edition")
    for question in asked:
        detail = f"{question_words.about_words(question)}: {_short(question.text)}"
        yield question.recorded_at, "question asked", detail, "through the emailed link"
    answers = QuestionAnswer.objects.filter(question__in=asked.values("pk"))
    for one in answers.select_related("link__message", "by"):
        how = question_words.answer_words(one, given_of(one).arrived)
        yield one.recorded_at, "question answered", f"{how}: {_short(one.text)}", str(one.by)


def _short(text: str) -> str:
    words = " ".join(text.split())
    return words if len(words) <= LONGEST else f"{words[: LONGEST - 1]}…"
