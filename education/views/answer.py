"""The answer to a patient's question, behind a personal link of its own. Nothing here changes."""

from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.utils import translation
from django.views.decorators.csrf import csrf_exempt

from education.answer import open_answer
from education.invite import LinkState
from education.rules.asking import Means
from education.views.link import dead_page, not_found_page, phone_link, refuse
from education.views.plan_visit import asked_language
from education.written_days import plain_day
from patients import programme
from patients.clock import local_date, now
from patients.open_to import LINK_HOLDER, open_to
from patients.rules.languages import codes, direction_of, own_name_of


@csrf_exempt  # the token in the address is the leave, and nothing is here to change
@open_to(LINK_HOLDER)
def answer_page(request: HttpRequest, answer_token: str) -> HttpResponse:
    """Show the question as it was asked, and the latest answer to it."""
    refused = refuse(request)
    if refused:
        return refused
    at = now()
    opened = open_answer(answer_token, at=at)
    if opened.link is None:
        return not_found_page()
    if opened.state != LinkState.GOOD:
        return dead_page(request, opened.state)
    used, code = programme.current(), asked_language(request)
    question = opened.link.answer.question
    given = list(question.answers.filter(means=Means.EMAIL))
    with translation.override(code):
        context = {
            "language": code,
            "direction": direction_of(code),
            "languages": [],
            "others": [(one, own_name_of(one)) for one in codes() if one != code],
            "programme": used,
            "phone_link": phone_link(used.phone),
            "emergency_link": phone_link(used.emergency_number),
            "asked": question.text,
            "asked_on": plain_day(local_date(question.recorded_at, used.zone)),
            "answer": given[-1].text,
            "answered_on": plain_day(local_date(given[-1].recorded_at, used.zone)),
            "corrected": len(given) > 1,
        }
        response = HttpResponse(render_to_string("education/answer.html", context))
    response["Content-Language"] = code
    return response
