"""Every page that a role may start from, in groups, with what it is for."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from clinic.access import member
from clinic.places import GROUPS, open_to_role
from clinic.roles import READERS
from patients.open_to import open_to


@open_to(*READERS)
def all_pages(request: HttpRequest) -> HttpResponse:
    """List them; a group that has none for this role is left out."""
    role = member(request).role
    found = {group: list(open_to_role(role, places)) for group, places in GROUPS.items()}
    groups = [(group, places) for group, places in found.items() if places]
    return render(request, "clinic/all_pages.html", {"groups": groups})
