"""The links in a page's head: what the signed-in role opens each day, and the way to all else."""

from dataclasses import dataclass, replace
from typing import Any

from django import template
from django.db import Error
from django.urls import ResolverMatch, reverse

from clinic.models import Role
from clinic.places import EACH_DAY, PLACES, Place, open_to_role
from clinic.roles import SCHEDULERS
from clinic.unsettled import CannotTell, unsettled
from patients.clock import now
from patients.programme import NotFounded
from patients.settle_message import waiting

register = template.Library()

# They decide about OR dates, so what changed under a confirmation is theirs to see everywhere.
COUNTED = (Role.COORDINATOR, Role.CLINICIAN)
# Where somebody works on the schedule, the link says how many messages wait.
SCHEDULES = ("operations", "operation", "schedule-import", "intake", "intake-message")


@dataclass(frozen=True)
class Link:
    """One link; `here` when it leads to the page that is shown.

    `count`: how many OR dates want to be looked at again, or messages wait; None when nobody can
    tell.
    """

    url: str
    label: str
    here: bool
    count: int | None = 0
    counted: str = "to look at again"


@register.simple_tag(takes_context=True)
def staff_nav(context: template.Context) -> list[Link]:
    """Return the places of each day of whoever is signed in, the one that is shown, and all pages.

    Where somebody works on the schedule, the messages that wait are there too.
    """
    request: Any = context["request"]
    match: ResolverMatch | None = request.resolver_match
    here = match.url_name if match else None
    role = Role(request.user.role)
    waits = "intake" if here in SCHEDULES and role in SCHEDULERS else None
    wanted = {*EACH_DAY[role], "mail-tray", waits, here}
    asked = tuple(place for place in PLACES if place.name in wanted)
    may_open = {place.name: place for place in open_to_role(role, asked)}
    shown = [name for name in EACH_DAY[role] if name in may_open]
    for name in ("mail-tray", waits, here):  # the tray is the demo's alone
        if name in may_open and name not in shown:
            shown.append(name)
    links = [_link(may_open[name], here, role, request) for name in shown]
    return [*links, Link(reverse("all-pages"), "All pages", here == "all-pages")]


def _link(place: Place, here: str | None, role: Role, request: Any) -> Link:
    link = Link(place.url, place.label, here == place.name)
    # Not on the morning list: it keeps to its twelve queries.
    if place.name == "operations" and here != "morning" and role in COUNTED:
        return replace(link, count=_count(request))
    if place.name == "intake" and here in SCHEDULES and role in SCHEDULERS:
        return replace(link, count=_waiting(), counted="waiting")
    return link


def _waiting() -> int | None:
    """Count the schedule messages that wait for a person."""
    try:
        return waiting().count()
    except Error:
        return None


def _count(request: Any) -> int | None:
    """Count them, unless the page has done so already."""
    known: int | None = getattr(request, "unsettled", None)
    if known is not None:
        return known
    try:
        return len(unsettled(at=now()))
    except (Error, CannotTell, NotFounded):
        return None
