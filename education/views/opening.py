"""What every page behind a personal link does first: open it, or say why not; in which language.

No page here knows a session. A GET or HEAD writes nothing and sets no cookie, because mail scanners
open links too (promise W4).
"""

from collections.abc import Callable, Sequence
from datetime import datetime
from functools import wraps
from typing import Any, Protocol

from django.conf import settings
from django.db import InterfaceError, InternalError, OperationalError
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.template.loader import render_to_string
from django.utils import translation
from django.views.decorators.csrf import csrf_exempt

from education.personal_link import L, LinkState, open_link
from patients import programme
from patients.clock import now
from patients.models import Programme
from patients.open_to import LINK_HOLDER, open_to
from patients.rules.languages import codes, direction_of, own_name_of

LANGUAGE_COOKIE = "lang"
LANGUAGE_COOKIE_AGE = 24 * 60 * 60  # seconds
# The longest honest form is a name and a date: two names of 200 characters, percent-encoded.
LARGEST_FORM = 32 * 1024  # bytes

# What is raised when the database does not answer: the page says "not saved" (fault 6). One that
# only lets read answers with an InternalError (fault 19), one whose disk is full as if away.
NOT_REACHED = (OperationalError, InterfaceError, InternalError)


class OneVisit(Protocol):
    """One request through a link that works."""

    @property
    def language(self) -> str: ...


def through(
    kind: type[L],
    named: str,
    visit_to: Callable[[HttpRequest, str, datetime, L, LinkState], OneVisit | HttpResponse],
    view: Callable[..., HttpResponse],
) -> Callable[..., HttpResponse]:
    """Make a view of a function that takes a visit.

    `named`: what the address calls the token. `visit_to` makes the visit of a link that is known,
    or the answer of one that does not work any more.
    """

    # The token in the address is the leave: nothing here rests on a cookie that a strange page
    # could make the browser send, and a CSRF cookie would be a session by another name.
    @csrf_exempt
    @open_to(LINK_HOLDER)
    @wraps(view)
    def opened(request: HttpRequest, **kwargs: Any) -> HttpResponse:
        refused = refuse(request)
        if refused:
            return refused
        token, at = kwargs.pop(named), now()
        found = open_link(kind, token, at=at)
        if found.link is None:
            return not_found_page()
        visit = visit_to(request, token, at, found.link, found.state)
        if isinstance(visit, HttpResponse):
            return visit
        with translation.override(visit.language):
            try:
                response = view(visit, **kwargs)
            except Http404:
                return not_found_page()
        response.headers.setdefault("Content-Language", visit.language)
        return response

    return opened


def refuse(request: HttpRequest) -> HttpResponse | None:
    """Return the answer to a request that no page of ours sends, or None."""
    if request.method not in {"GET", "HEAD", "POST"}:
        return HttpResponseNotAllowed(["GET", "HEAD", "POST"])
    length = str(request.META.get("CONTENT_LENGTH") or "0")
    if not length.isdecimal() or int(length[:20]) > LARGEST_FORM:
        return HttpResponse(render_to_string("400.html"), status=413)
    return None


def see(address: str) -> HttpResponse:
    """Send the browser on with a GET, so that neither back nor refresh sends a form again."""
    return HttpResponse(status=303, headers={"Location": address})


def on_every_page(language: str, used: Programme) -> dict[str, Any]:
    """Return what every page behind a link shows."""
    return {
        "language": language,
        "direction": direction_of(language),
        "languages": [],
        "others": [(one, own_name_of(one)) for one in codes() if one != language],
        "programme": used,
        "phone_link": phone_link(used.phone),
        "emergency_link": phone_link(used.emergency_number),
    }


# --- links that do not open ----------------------------------------------------------------------


@csrf_exempt  # nothing is here to change
@open_to(LINK_HOLDER)
def not_found(request: HttpRequest, **kwargs: Any) -> HttpResponse:
    """Answer every address below /q/ that is none."""
    return not_found_page()


def not_found_page() -> HttpResponse:
    """Return the one page for all that is not there: always the same bytes (promise W6)."""
    return _closed("not_found", list(codes()), status=404)


def dead_page(
    request: HttpRequest, state: str, *, renew_url: str = "", status: int = 410
) -> HttpResponse:
    """Say that a link has ended or is too old, and whom to call; tells nothing else (fault 8).

    `renew_url`: where a new one may be asked for in place of one that is too old.
    """
    first = chosen_language(request, codes())
    others = [code for code in codes() if code != first]
    return _closed(str(state), [first, *others], status=status, renew_url=renew_url)


def _closed(state: str, languages: list[str], *, status: int, renew_url: str = "") -> HttpResponse:
    try:
        told = programme.current()
    except programme.NotFounded:
        told = None
    context = {
        "state": state,
        "languages": [(code, direction_of(code)) for code in languages],
        "language": languages[0],
        "direction": direction_of(languages[0]),
        "renew_url": renew_url,
        "programme": told,
        "phone_link": phone_link(told.phone) if told else "",
        "emergency_link": phone_link(told.emergency_number) if told else "",
    }
    with translation.override(languages[0]):
        response = HttpResponse(render_to_string("education/closed.html", context), status=status)
    response["Content-Language"] = ", ".join(languages)
    return response


# --- language and telephone ----------------------------------------------------------------------


def chosen_language(request: HttpRequest, offered: Sequence[str]) -> str:
    """Return the language of a page. What is on record about the patient plays no part (W6)."""
    for code in (chosen_before(request), request.GET.get("l")):
        if code in offered:
            return str(code)
    wanted = translation.get_language_from_request(request)
    return wanted if wanted in offered else offered[0]


def remember_language(response: HttpResponse, code: str) -> None:
    """Keep the language for a day, for this browser."""
    response.set_cookie(
        LANGUAGE_COOKIE,
        code,
        max_age=LANGUAGE_COOKIE_AGE,
        path="/q/",
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",  # Strict would not come along when the link is opened from a mail app
    )


def phone_link(number: str) -> str:
    """Return a telephone number as an address that a phone can dial; an extension stays out."""
    head = number.lower().partition("ext")[0].partition("x")[0]
    return "tel:" + "".join(char for char in head if char in "+0123456789")


def chosen_before(request: HttpRequest) -> str:
    """Return the language that this browser keeps, an empty text for none."""
    code = request.COOKIES.get(LANGUAGE_COOKIE, "")
    return code if code in codes() else ""


def asked_language(request: HttpRequest) -> str:
    """Return the language that the address asks for, else the browser's."""
    asked = request.GET.get("l", "")
    return asked if asked in codes() else chosen_language(request, codes())
