"""Staff type what a patient answered on paper or on the phone; the engine is the patient's own."""

from collections.abc import Mapping
from datetime import date, datetime

from django.db import transaction

from education.forms import Typed
from education.models import Attempt, DraftAnswer, Question, Submission
from education.rules.scoring import Given
from education.take import save_answer, submit

Answers = Mapping[Question, Given | None]


def keep(attempt: Attempt, answers: Answers, *, at: datetime) -> None:
    """Keep the answers as they are now; one taken back is no answer. Nothing once handed in."""
    with transaction.atomic():
        Attempt.objects.select_for_update().get(pk=attempt.pk)
        if Submission.objects.filter(attempt=attempt).exists():
            return
        blank = [question for question, given in answers.items() if given is None]
        DraftAnswer.objects.filter(attempt=attempt, question__in=blank).delete()
        for question, given in answers.items():
            if given is not None:
                save_answer(attempt, question, given, at=at)


def enter(
    attempt: Attempt,
    answers: Answers,
    typed: Typed,
    *,
    language: str,
    at: datetime,
    by_id: int,
    answered_on: date | None = None,
) -> Submission:
    """Hand in what staff typed: answers, score, identity decision and clearance in one transaction.

    What has no answer is wrong. Typed twice, the first one stands and is returned.
    """
    with transaction.atomic():
        keep(attempt, answers, at=at)
        return submit(
            attempt,
            given_names=typed.given_names,
            family_names=typed.family_names,
            birth_date=typed.birth_date,
            language=language,
            at=at,
            by_id=by_id,
            answered_on=answered_on,
        )
