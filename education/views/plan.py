"""The patient's eating plan behind a personal link: today first, every day with its date.

It carries no name, MRN or date of birth. A GET changes nothing and sets no cookie (promise W4).
"""

from collections.abc import Callable
from datetime import datetime
from functools import wraps
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.utils import translation
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_safe

from education import eating_calendar, eating_texts
from education.invite import LinkState
from education.models import PlanLink
from education.plan_link import open_plan
from education.plan_of import PlanOf, plan_of
from education.views.link import chosen_language, dead_page, not_found_page, phone_link
from patients.clock import now
from patients.models import Language
from patients.open_to import LINK_HOLDER, open_to

View = Callable[[HttpRequest, PlanLink, PlanOf, datetime], HttpResponse]


def through_plan_link(view: View) -> Callable[..., HttpResponse]:
    """Open the link, or say why it does not; the language is the email's, then the browser's."""

    @csrf_exempt  # nothing is here to change
    @open_to(LINK_HOLDER)
    @require_safe
    @wraps(view)
    def opened(request: HttpRequest, plan_token: str) -> HttpResponse:
        at = now()
        found = open_plan(plan_token, at=at)
        if found.link is None:
            return not_found_page()
        if found.state != LinkState.GOOD:
            return dead_page(request, found.state)
        plan = plan_of(found.link.operation, at=at)
        if plan is None:
            return dead_page(request, LinkState.ENDED)
        asked = request.GET.get("l", "")
        code = asked if asked in Language.values else chosen_language(request, Language.values)
        with translation.override(code):
            response = view(request, found.link, plan, at)
        response["Content-Language"] = code
        return response

    return opened


@through_plan_link
def plan(request: HttpRequest, link: PlanLink, found: PlanOf, at: datetime) -> HttpResponse:
    """Show the plan, or that it has no dates just now, and whom to call."""
    code = eating_texts.language()
    context: dict[str, Any] = {
        "language": code,
        "languages": [],
        "other": next(one for one in Language.values if one != code),
        "programme": found.programme,
        "phone_link": phone_link(found.programme.phone),
        "emergency_link": phone_link(found.programme.emergency_number),
        "open": found.may_be_given,
        "query": f"?l={code}",
    }
    if found.may_be_given:
        days = eating_texts.days(found)
        context |= {
            "moved": link.or_date != found.operation.or_date,
            "made_for": eating_texts.made_for(found),
            "void": eating_texts.void(),
            "draft": eating_texts.draft(found),
            "starts": eating_texts.starts(found),
            "today": next((one for one in days if one.day.day == found.today), None),
            "stages": eating_texts.stages(found),
            "days": days,
            "amounts": eating_texts.amounts(found),
            "meals": eating_texts.meals(found),
            "totals": eating_texts.totals(found),
            "cautions": eating_texts.cautions(found),
        }
    return HttpResponse(render_to_string("education/plan.html", context))


@through_plan_link
def plan_calendar(
    request: HttpRequest, link: PlanLink, found: PlanOf, at: datetime
) -> HttpResponse:
    """Return the plan as a calendar file with neutral titles."""
    if not found.may_be_given:
        return not_found_page()
    made = eating_calendar.file_for(found, at=at)
    response = HttpResponse(made, content_type="text/calendar; charset=utf-8")
    response["Content-Disposition"] = 'attachment; filename="plan.ics"'
    return response
