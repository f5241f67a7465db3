"""The answer to a patient's question, behind a personal link of its own. Nothing here changes."""

from dataclasses import dataclass
from datetime import datetime

from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string

from education.models import AnswerLink
from education.personal_link import LinkState
from education.rules.asking import Means
from education.views.opening import asked_language, dead_page, on_every_page, through
from education.written_days import plain_day
from patients import programme
from patients.clock import local_date


@dataclass(frozen=True)
class AnswerVisit:
    """One request through a link that works."""

    link: AnswerLink
    language: str


def _visit(
    request: HttpRequest, token: str, at: datetime, link: AnswerLink, state: LinkState
) -> AnswerVisit | HttpResponse:
    if state != LinkState.GOOD:
        return dead_page(request, state)
    return AnswerVisit(link, asked_language(request))


def _answer_page(visit: AnswerVisit) -> HttpResponse:
    """Show the question as it was asked, and the latest answer to it."""
    used, question = programme.current(), visit.link.answer.question
    given = list(question.answers.filter(means=Means.EMAIL))
    context = on_every_page(visit.language, used) | {
        "asked": question.text,
        "asked_on": plain_day(local_date(question.recorded_at, used.zone)),
        "answer": given[-1].text,
        "answered_on": plain_day(local_date(given[-1].recorded_at, used.zone)),
        "corrected": len(given) > 1,
    }
    return HttpResponse(render_to_string("education/answer.html", context))


answer_page = through(AnswerLink, "answer_token", _visit, _answer_page)
