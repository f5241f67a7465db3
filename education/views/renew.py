"""An expired link's own way to a new one: the same answer whether or not something was sent."""

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.csrf import csrf_exempt

from education.models import Invitation
from education.personal_link import open_link
from education.renew import renew
from education.views.opening import dead_page, not_found_page, refuse, see
from patients.clock import now
from patients.open_to import LINK_HOLDER, open_to

ASKED = "asked"  # the state of the page that says where to look


@csrf_exempt  # the token in the address is the leave, as on every page of a link
@open_to(LINK_HOLDER)
def renew_link(request: HttpRequest, token: str) -> HttpResponse:
    """POST asks for a new link; GET says where it would arrive. Nothing tells whether it will."""
    refused = refuse(request)
    if refused:
        return refused
    at = now()
    if open_link(Invitation, token, at=at).link is None:
        return not_found_page()
    # A mail scanner may send the form too, but empty (fault 2).
    if request.method == "POST" and request.POST.get("renew") == "yes":
        renew(token, at=at)
        query = {"l": request.GET["l"]} if request.GET.get("l") else None
        return see(reverse("quiz-renew", args=[token], query=query))
    return dead_page(request, ASKED, status=200)
