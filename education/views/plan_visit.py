"""A visit to the pages behind the link to an eating plan."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.urls import reverse

from education.models import PlanLink
from education.personal_link import LinkState
from education.plan_of import PlanOf, plan_of
from education.views.opening import asked_language, dead_page, on_every_page, through


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


def through_plan_link(view: Callable[[PlanVisit], HttpResponse]) -> Callable[..., HttpResponse]:
    """Make a view of a function that takes a PlanVisit; says why a link does not open."""
    return through(PlanLink, "plan_token", _visit, view)


def _visit(
    request: HttpRequest, token: str, at: datetime, link: PlanLink, state: LinkState
) -> PlanVisit | HttpResponse:
    good = state == LinkState.GOOD
    found = plan_of(link.operation, at=at) if good else None
    if found is None:
        return dead_page(request, LinkState.ENDED if good else state)
    return PlanVisit(request, token, at, link, found, asked_language(request))


def page(
    visit: PlanVisit, name: str, context: dict[str, Any], *, status: int = 200
) -> HttpResponse:
    """Render a page of the link, without the request: these pages have no session."""
    common = on_every_page(visit.language, visit.found.programme) | {
        "open": visit.found.may_be_given,
        "not_saved": status == 503,
    }
    return HttpResponse(render_to_string(f"education/{name}.html", common | context), status=status)
