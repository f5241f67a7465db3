"""The links in a page's head: those pages that the signed-in role may open."""

from dataclasses import dataclass
from typing import Any

from django import template
from django.conf import settings
from django.urls import NoReverseMatch, ResolverMatch, resolve, reverse

register = template.Library()

# In reading order: url name, what the link says.
PLACES = (
    ("morning", "Morning list"),
    ("submissions", "Submissions"),
    ("operations", "Operations"),
    ("schedule-import", "Import"),
    ("mail-tray", "Mail"),
)


@dataclass(frozen=True)
class Place:
    """One link; `here` when it leads to the page that is shown."""

    url: str
    label: str
    here: bool


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
            found.append(Place(url, label, here == name))
    return found
