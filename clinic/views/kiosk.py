"""The page of a shared screen in the clinic between two patients: a code opens one quiz on it."""

from dataclasses import dataclass

from django.conf import settings
from django.contrib.auth import logout
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.urls import reverse
from django.views.decorators.csrf import csrf_exempt

from clinic.client_address import client_address
from education.other_ways import ScreenRefusal, trade
from education.rules.quiz_code import LONGEST, CodeProblem, read_code
from education.shared_screen import idle_limit, keep_open
from education.views.opening import refuse
from patients.clock import now
from patients.models import Programme
from patients.open_to import ANYONE, open_to
from patients.programme import NotFounded, current
from patients.rules.languages import codes

MOST_WRONG = 20  # codes that could be one, and are none
WRONG_FOR = 10 * 60  # seconds that they are counted, for one address
TOO_MANY = "too_many"


@dataclass(frozen=True)
class Said:
    """What is wrong with a code, by its name in the template; "" for nothing."""

    problem: str = ""
    code: str = ""


# Nothing here rests on a cookie: a code is leave to open one quiz, and whoever is signed in on this
# screen is signed out by it.
@csrf_exempt
@open_to(ANYONE)
def kiosk(request: HttpRequest) -> HttpResponse:
    """Ask for a code; POST opens its quiz here, once."""
    refused = refuse(request)
    if refused:
        return refused
    if request.method != "POST":
        return _page(request, Said(code=request.GET.get("code", "")[:LONGEST]))
    typed = request.POST.get("code", "")[:LONGEST]
    read = read_code(typed)
    if isinstance(read, CodeProblem):
        return _page(request, Said("mistyped", typed), status=422)
    wrong = f"kiosk-wrong:{client_address(request)}"
    if int(cache.get(wrong) or 0) >= MOST_WRONG:
        return _page(request, Said(TOO_MANY, typed), status=429)
    at = now()
    opened = trade(read, at=at)
    if isinstance(opened, ScreenRefusal):
        if opened == ScreenRefusal.UNKNOWN:
            cache.set(wrong, int(cache.get(wrong) or 0) + 1, WRONG_FOR)
        return _page(request, Said(opened, typed), status=422)
    if settings.SESSION_COOKIE_NAME in request.COOKIES:
        logout(request)
    code, token = opened
    address = reverse("quiz-start", args=[token], query={"l": code.language})
    response = HttpResponse(status=303, headers={"Location": address})
    keep_open(response, token, at=at, wait=idle_limit(reading=True), then="")
    return response


def _page(request: HttpRequest, said: Said, *, status: int = 200) -> HttpResponse:
    context = {
        "said": said,
        "programme": _programme(),
        "signed_in": settings.SESSION_COOKIE_NAME in request.COOKIES,
        "languages": codes(),
    }
    return HttpResponse(render_to_string("education/kiosk.html", context), status=status)


def _programme() -> Programme | None:
    try:
        return current()
    except NotFounded:
        return None
