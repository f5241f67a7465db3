"""What every page of a plan's link does first: open it, choose the language, refuse the rest.

No page here knows a session. A GET or HEAD writes nothing and sets no cookie (promise W4).
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import wraps
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import translation
from django.views.decorators.csrf import csrf_exempt

from education.invite import LinkState
from education.models import PlanLink
from education.plan_link import open_plan
from education.plan_of import PlanOf, plan_of
from education.views.link import chosen_language, dead_page, not_found_page, phone_link, refuse
from patients.clock import now
from patients.open_to import LINK_HOLDER, open_to
from patients.rules.languages import codes, direction_of, own_name_of


@dataclass(frozen=True)
class PlanVisit:
    """One request through a link that works. `language`: that of the page."""

    request: HttpRequest
    token: str
    at: datetime
    link: PlanLink
    found: PlanOf
    language: str

    def address(self, name: str, fragment: str = "", **query: str) -> str:
        """Return the address of another page of this link, in this language."""
        query = {"l": self.language, **query}
        return reverse(name, args=[self.token], query=query, fragment=fragment or None)


def through_plan_link(
    view: Callable[[PlanVisit], HttpResponse],
) -> Callable[..., HttpResponse]:
    """Make a view of a function that takes a PlanVisit; says why a link does not open."""

    # The token in the address is the leave; see education.views.link.through_link.
    @csrf_exempt
    @open_to(LINK_HOLDER)
    @wraps(view)
    def opened(request: HttpRequest, plan_token: str) -> HttpResponse:
        refused = refuse(request)
        if refused:
            return refused
        at = now()
        opened = open_plan(plan_token, at=at)
        if opened.link is None:
            return not_found_page()
        if opened.state != LinkState.GOOD:
            return dead_page(request, opened.state)
        found = plan_of(opened.link.operation, at=at)
        if found is None:
            return dead_page(request, LinkState.ENDED)
        code = asked_language(request)
        with translation.override(code):
            try:
                response = view(PlanVisit(request, plan_token, at, opened.link, found, code))
            except Http404:
                return not_found_page()
        response["Content-Language"] = code
        return response

    return opened


def asked_language(request: HttpRequest) -> str:
    """Return the language that the address asks for, else the browser's."""
    asked = request.GET.get("l", "")
    return asked if asked in codes() else chosen_language(request, codes())


def page(
    visit: PlanVisit, name: str, context: dict[str, Any], *, status: int = 200
) -> HttpResponse:
    """Render a page of the link, without the request: these pages have no session."""
    programme = visit.found.programme
    common = {
        "language": visit.language,
        "languages": [],
        "direction": direction_of(visit.language),
        "others": [(one, own_name_of(one)) for one in codes() if one != visit.language],
        "programme": programme,
        "phone_link": phone_link(programme.phone),
        "emergency_link": phone_link(programme.emergency_number),
        "open": visit.found.may_be_given,
        "not_saved": status == 503,
    }
    return HttpResponse(render_to_string(f"education/{name}.html", common | context), status=status)
