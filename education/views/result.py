"""The result: passed or not yet, what was wrong and why, and what happens next."""

from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from django.http import HttpResponse

from education.given import from_json
from education.models import Submission
from education.shown import ShownQuestion, questions
from education.views.link import Visit, page, through_link
from education.views.opening import see
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
    start_url = visit.address("quiz-start")
    context = {
        **what_is_told(
            submission,
            _language(visit, submission),
            zone=visit.programme.zone,
            start_url=start_url,
        ),
        "attempt": visit.attempt,
        "may_begin": visit.may_begin,
        "start_url": start_url,
        "back_url": start_url,
    }
    return page(visit, "result", context)


def what_is_told(
    submission: Submission, language: str, *, zone: ZoneInfo, start_url: str = ""
) -> dict[str, Any]:
    """Return what the page says of a result; `start_url`: where the lesson is, if it is open."""
    told = _told(submission, language, start_url)
    wrong = [answer for answer in told if not answer.was_right]
    return {
        "submission": submission,
        "title": submission.edition.title[language],
        "handed_in": plain_day(submission.answered_on or local_date(submission.recorded_at, zone)),
        "wrong": wrong,
        "right": [answer for answer in told if answer.was_right],
        "unsafe": [answer for answer in wrong if answer.question.record.safety_critical],
    }


def _told(submission: Submission, language: str, start_url: str) -> list[Told]:
    answers = {answer.question_id: answer for answer in submission.answers.all()}
    told = []
    for question in questions(submission.attempt, language):
        answer = answers[question.record.pk]
        given = from_json(answer.given) if answer.given else None
        told.append(
            Told(
                question,
                question.in_words(given),
                question.right_in_words(),
                answer.right,
                f"{start_url}#{question.section}" if start_url else "",
            )
        )
    return told


def _language(visit: Visit, submission: Submission) -> str:
    """The page's language, unless the edition that was taken did not have it."""
    return visit.language if visit.language in submission.edition.languages else submission.language
