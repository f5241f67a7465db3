"""The calendar feed of the operations, and the page on which its private address is made."""

import logging
import uuid
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.db import Error
from django.http import HttpRequest, HttpResponse, HttpResponseBadRequest
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clinic import feed_address
from clinic.access import member
from clinic.calendar_feed import feed
from clinic.client_address import client_address
from clinic.models import CalendarFeed
from clinic.once import once
from clinic.trail import record
from clinic.unsettled import CannotTell
from patients import programme
from patients.clock import now
from patients.open_to import LINK_HOLDER, open_to
from patients.programme import NotFounded

log = logging.getLogger(__name__)


@open_to(LINK_HOLDER)
@require_safe
def calendar_feed(request: HttpRequest, feed_token: str) -> HttpResponse:
    """The calendar, for whoever holds the address; 503 when a fact cannot be read."""
    at = now()
    try:
        owner = feed_address.whose(feed_token)
        if owner is None:
            return HttpResponse("There is no such calendar.\n", "text/plain", status=404)
        calendar = feed(at=at)
        record(
            act="GET calendar-feed",
            at=at,
            by_id=owner.pk,
            detail={"status": 200},
            address=client_address(request) or None,
        )
    except (Error, CannotTell, NotFounded):
        # An empty calendar would say that there is no operation.
        log.warning("The calendar feed could not be read.")
        return HttpResponse(
            "Cannot tell: try again later.\n",
            "text/plain",
            status=503,
            headers={"Retry-After": "300"},
        )
    return HttpResponse(
        calendar,
        "text/calendar; charset=utf-8",
        headers={"Content-Disposition": 'inline; filename="or-dates.ics"'},
    )


@open_to(*feed_address.MAY_HAVE)
@require_http_methods(["GET", "HEAD", "POST"])
def calendar(request: HttpRequest) -> HttpResponse:
    """One's own feed. A POST makes an address and shows it, this once."""
    at, address = now(), ""
    if request.method == "POST":
        try:
            key = uuid.UUID(request.POST.get("act_key", ""))
        except ValueError:
            return HttpResponseBadRequest(
                "This form is incomplete. Go back and load the page again."
            )
        token = feed_address.make(member(request), key=key, at=at)
        address = settings.PUBLIC_URL + reverse("calendar-feed", args=[token])
    used = programme.current()
    context: dict[str, Any] = {
        "made": CalendarFeed.objects.filter(member=member(request)).first(),
        "address": address,
        "named": used.feed_names_patients,
        "zone": used.zone,
    }
    return render(request, "clinic/calendar.html", context)


@open_to(*feed_address.MAY_HAVE)
@require_POST
@once
def calendar_revoke(request: HttpRequest) -> HttpResponse:
    """End one's own feed."""
    feed_address.revoke(member(request))
    messages.success(request, "The address is dead. Calendars that read it get nothing any more.")
    return redirect("calendar")
