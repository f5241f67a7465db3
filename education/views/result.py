"""The result: passed or not yet, what was wrong and why, and what happens next."""

from dataclasses import dataclass

from django.http import HttpResponse

from education.given import from_json
from education.models import Submission
from education.shown import ShownQuestion, questions
from education.views.link import Visit, page, see, through_link


@dataclass(frozen=True)
class WrongAnswer:
    """A question that was got wrong, with what was answered and what is right."""

    question: ShownQuestion
    answer: tuple[str, ...]
    right: tuple[str, ...]
    read_again_url: str


@through_link
def result(visit: Visit) -> HttpResponse:
    """Show the latest result behind this link. It never says cleared: that is not known here."""
    submission = visit.submission
    if submission is None:
        return see(visit.address("quiz-start"))
    wrong = _wrong(visit, submission)
    context = {
        "submission": submission,
        "title": submission.edition.title[_language(visit, submission)],
        "wrong": wrong,
        "unsafe": [answer for answer in wrong if answer.question.record.safety_critical],
        "attempt": visit.attempt,
        "may_begin": visit.may_begin,
        "start_url": visit.address("quiz-start"),
        "back_url": visit.address("quiz-start"),
    }
    return page(visit, "result", context)


def _wrong(visit: Visit, submission: Submission) -> list[WrongAnswer]:
    answers = {answer.question_id: answer for answer in submission.answers.all()}
    return [
        WrongAnswer(
            question,
            question.in_words(from_json(given) if given else None),
            question.right_in_words(),
            f"{visit.address('quiz-start')}#{question.section}",
        )
        for question in questions(submission.attempt, _language(visit, submission))
        if not answers[question.record.pk].right
        for given in [answers[question.record.pk].given]
    ]


def _language(visit: Visit, submission: Submission) -> str:
    """The page's language, unless the edition that was taken did not have it."""
    return visit.language if visit.language in submission.edition.languages else submission.language
