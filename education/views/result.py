"""The result: passed or not yet, what was wrong and why, and what happens next."""

from dataclasses import dataclass

from django.http import HttpResponse

from education.given import from_json
from education.models import Submission
from education.shown import ShownQuestion, questions
from education.views.link import Visit, page, see, through_link
from education.written_days import plain_day
from patients.clock import local_date


@dataclass(frozen=True)
class Told:
    """A question with what was answered and what is right."""

    question: ShownQuestion
    answer: tuple[str, ...]
    right: tuple[str, ...]
    was_right: bool
    read_again_url: str


@through_link
def result(visit: Visit) -> HttpResponse:
    """Show the latest result behind this link. It never says cleared: that is not known here."""
    submission = visit.submission
    if submission is None:
        return see(visit.address("quiz-start"))
    told = _told(visit, submission)
    wrong = [answer for answer in told if not answer.was_right]
    context = {
        "submission": submission,
        "title": submission.edition.title[_language(visit, submission)],
        "handed_in": plain_day(local_date(submission.recorded_at, visit.programme.zone)),
        "wrong": wrong,
        "right": [answer for answer in told if answer.was_right],
        "unsafe": [answer for answer in wrong if answer.question.record.safety_critical],
        "attempt": visit.attempt,
        "may_begin": visit.may_begin,
        "start_url": visit.address("quiz-start"),
        "back_url": visit.address("quiz-start"),
    }
    return page(visit, "result", context)


def _told(visit: Visit, submission: Submission) -> list[Told]:
    answers = {answer.question_id: answer for answer in submission.answers.all()}
    told = []
    for question in questions(submission.attempt, _language(visit, submission)):
        answer = answers[question.record.pk]
        given = from_json(answer.given) if answer.given else None
        told.append(
            Told(
                question,
                question.in_words(given),
                question.right_in_words(),
                answer.right,
                f"{visit.address('quiz-start')}#{question.section}",
            )
        )
    return told


def _language(visit: Visit, submission: Submission) -> str:
    """The page's language, unless the edition that was taken did not have it."""
    return visit.language if visit.language in submission.edition.languages else submission.language
