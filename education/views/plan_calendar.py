"""The eating plan as a calendar: a file, and a private address that another program reads."""

import logging

from django.db import Error
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.utils import translation
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_safe

from education import eating_calendar
from education.plan_feed import TooMany, end_feed, make_feed, open_feed
from education.plan_of import plan_of
from education.views.opening import NOT_REACHED, asked_language, see
from education.views.plan import shown
from education.views.plan_visit import PlanVisit, through_plan_link
from patients.clock import now
from patients.open_to import LINK_HOLDER, open_to
from patients.programme import NotFounded

log = logging.getLogger(__name__)
CALENDAR = "text/calendar; charset=utf-8"


@through_plan_link
def plan_calendar(visit: PlanVisit) -> HttpResponse:
    """Return the plan as a calendar file; with the operation's day only if it was asked for."""
    if visit.request.method == "POST":
        return HttpResponseNotAllowed(["GET", "HEAD"])
    if not visit.found.may_be_given:
        raise Http404
    named = visit.request.GET.get("operation") == "yes"
    made = eating_calendar.file_for(visit.found, at=visit.at, with_operation=named)
    response = HttpResponse(made, content_type=CALENDAR)
    response["Content-Disposition"] = 'attachment; filename="plan.ics"'
    return response


@through_plan_link
def plan_feed_make(visit: PlanVisit) -> HttpResponse:
    """Make a private address of the calendar; sent twice, it is one."""
    if visit.request.method == "POST":
        named = visit.request.POST.get("operation") == "yes"
        try:
            make_feed(visit.link, visit.token, with_operation=named, at=visit.at)
        except TooMany:
            pass  # the page shows those that there are
        except NOT_REACHED:
            return shown(visit, status=503)
    return see(visit.address("plan", fragment="calendar"))


@through_plan_link
def plan_feed_end(visit: PlanVisit) -> HttpResponse:
    """End a private address that this link made."""
    if visit.request.method == "POST":
        number = visit.request.POST.get("number", "")
        try:
            if number.isdecimal() and len(number) < 5:
                end_feed(visit.link, int(number), at=visit.at)
        except NOT_REACHED:
            return shown(visit, status=503)
    return see(visit.address("plan", fragment="calendar"))


@csrf_exempt  # nothing is here to change
@open_to(LINK_HOLDER)
@require_safe
def plan_feed(request: HttpRequest, plan_feed_token: str) -> HttpResponse:
    """Return the calendar to whichever program has the address; 503 when it cannot be read."""
    at = now()
    try:
        feed = open_feed(plan_feed_token, at=at)
        found = plan_of(feed.link.operation, at=at) if feed else None
        if feed is None or found is None:
            return HttpResponse("There is no such calendar.\n", "text/plain", status=404)
        with translation.override(asked_language(request)):
            made = eating_calendar.feed_for(found, at=at, with_operation=feed.with_operation)
    except (Error, NotFounded):
        # An empty calendar would say that there is nothing to do.
        log.warning("A plan's calendar could not be read.")
        again = {"Retry-After": "300"}
        return HttpResponse("Cannot tell: try again later.\n", "text/plain", 503, headers=again)
    return HttpResponse(
        made, CALENDAR, headers={"Content-Disposition": 'inline; filename="plan.ics"'}
    )
