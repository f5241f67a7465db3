"""The links in a page's head: those pages that the signed-in role may open."""

from dataclasses import dataclass
from typing import Any

from django import template
from django.conf import settings
from django.db import Error
from django.urls import NoReverseMatch, ResolverMatch, resolve, reverse

from clinic.models import Role
from clinic.roles import SCHEDULERS
from clinic.unsettled import CannotTell, unsettled
from patients.clock import now
from patients.programme import NotFounded
from patients.settle_message import waiting

register = template.Library()

# In reading order: url name, what the link says.
PLACES = (
    ("morning", "Morning list"),
    ("submissions", "Submissions"),
    ("questions", "Questions"),
    ("enter-code", "Enter a quiz"),
    ("duplicates", "Duplicates"),
    ("operations", "Operations"),
    ("schedule-import", "Import"),
    ("intake", "Intake"),
    ("mail", "Mail"),
    ("mail-tray", "Mail tray"),
    ("modules", "Modules"),
    ("requirements", "Requirements"),
    ("eating-today", "Eating plans"),
    ("programme", "Programme"),
    ("staff", "Staff"),
    ("running", "What runs"),
    ("trail", "Trail"),
)
# They decide about OR dates, so what changed under a confirmation is theirs to see everywhere.
COUNTED = (Role.COORDINATOR, Role.CLINICIAN)
# Where somebody works on the schedule, the link says how many messages wait.
SCHEDULES = ("operations", "operation", "schedule-import", "intake", "intake-message")


@dataclass(frozen=True)
class Place:
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
def staff_nav(context: template.Context) -> list[Place]:
    """Return the places that the signed-in member of staff may go to."""
    request: Any = context["request"]
    match: ResolverMatch | None = request.resolver_match
    here = match.url_name if match else None
    found = []
    for name, label in PLACES:
        if name == "mail-tray" and not settings.MAIL_TRAY:
            continue
        try:
            url = reverse(name)
        except NoReverseMatch:
            continue
        if request.user.role in getattr(resolve(url).func, "open_to", ()):
            # Not on the morning list: it keeps to its twelve queries.
            asked = name == "operations" and here != "morning"
            counted = asked and request.user.role in COUNTED
            if name == "intake" and here in SCHEDULES and request.user.role in SCHEDULERS:
                found.append(Place(url, label, here == name, _waiting(), "waiting"))
                continue
            found.append(Place(url, label, here == name, _count(request) if counted else 0))
    return found


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
