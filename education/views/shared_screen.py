"""The end of a quiz on a shared screen: “I am done”, or nobody there."""

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.csrf import csrf_exempt

from education.models import EndedBecause, Invitation
from education.personal_link import end, open_link
from education.rules.quiz_way import Way
from education.shared_screen import ASKED_FOR, is_open, leave
from education.views.language import PAGE
from education.views.link import Visit, page, through_link
from education.views.opening import not_found_page, refuse, see
from patients.clock import now
from patients.open_to import LINK_HOLDER, open_to


@through_link
def screen_idle(visit: Visit) -> HttpResponse:
    """Ask whether somebody is still there; whoever is goes on where they were."""
    if not visit.shared:
        return see(visit.address("quiz-start"))
    here = visit.request.GET.get("here", "")
    start = reverse("quiz-start", args=[visit.token])
    context = {
        "go_on_url": start + here if PAGE.fullmatch(here) else start,
        "seconds": int(ASKED_FOR.total_seconds()),
    }
    return page(visit, "screen_idle", context)


@csrf_exempt  # the token and the screen's cookie are the leave, as on the other pages
@open_to(LINK_HOLDER)
def screen_over(request: HttpRequest, token: str) -> HttpResponse:
    """Leave the screen. By the button the quiz's address dies for good; idle, with the cookie."""
    refused = refuse(request)
    if refused:
        return refused
    at = now()
    invitation = open_link(Invitation, token, at=at).link
    if invitation is None:
        return not_found_page()
    if invitation.way != Way.KIOSK:
        return see(reverse("quiz-start", args=[token]))
    if request.method == "POST" and is_open(request, token, at=at):
        end(invitation, EndedBecause.DONE, at=at)
    return leave(token)
