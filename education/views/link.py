"""What every patient page does first: open the link, choose the language, refuse the rest.

No page here knows a session. A GET or HEAD writes nothing and sets no cookie, because mail scanners
open links too (promise W4).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, wraps
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.db import InterfaceError, InternalError, OperationalError
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import translation
from django.views.decorators.csrf import csrf_exempt

from education.attempts import may_begin
from education.invite import LinkState, open_link
from education.models import Attempt, Edition, Invitation, Submission
from education.rules.quiz_way import Way
from education.shared_screen import ASKED_FOR, idle_limit, is_open, keep_open, leave
from education.take import in_progress
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


@dataclass
class Visit:
    """One request through a link that works."""

    request: HttpRequest
    token: str
    at: datetime
    invitation: Invitation
    programme: Programme

    @cached_property
    def attempt(self) -> Attempt | None:
        """The attempt in progress, this link's own or one to be taken over by `begin`."""
        found = in_progress(self.invitation)
        own = found and found.invitation_id == self.invitation.pk
        return found if own or self.may_begin else None

    @cached_property
    def running(self) -> Attempt | None:
        """The attempt in progress if it was begun behind this link."""
        attempt = self.attempt
        return attempt if attempt and attempt.invitation_id == self.invitation.pk else None

    @cached_property
    def submission(self) -> Submission | None:
        """The latest submission behind this link."""
        return (
            Submission.objects.filter(attempt__invitation=self.invitation)
            .select_related("edition", "attempt")
            .last()
        )

    @cached_property
    def may_begin(self) -> bool:
        return may_begin(self.invitation)

    @cached_property
    def edition(self) -> Edition:
        """The edition in progress, else the latest one, or the one that was passed or used up."""
        if self.attempt:
            return self.attempt.edition
        if self.submission and not self.may_begin:
            return self.submission.edition
        return self.invitation.assignment.module.latest_edition

    @cached_property
    def languages(self) -> list[str]:
        """The languages on offer: those that the edition has complete."""
        return [code for code in codes() if code in self.edition.languages]

    @cached_property
    def language(self) -> str:
        """The patient's choice, else the email's (?l=), else the browser's."""
        return chosen_language(self.request, self.languages)

    @cached_property
    def language_asked(self) -> str:
        """The ?l= of the emailed link, carried on until a cookie holds the choice."""
        asked = self.request.GET.get("l", "")
        return asked if asked in self.languages and not _cookie(self.request) else ""

    def address(self, name: str, *args: int, **query: str) -> str:
        """Return the address of another page of this link."""
        if self.language_asked:
            query["l"] = self.language_asked
        return reverse(name, args=[self.token, *args], query=query or None)

    @property
    def here(self) -> str:
        """What stands behind the token in this page's address; the language buttons send it."""
        start = reverse("quiz-start", args=[self.token])
        query = self.request.GET
        asked = {name: query[name] for name in ("about", "back") if name in query}
        behind = f"?{urlencode(asked)}" if asked else ""
        return self.request.path.removeprefix(start) + behind

    @property
    def shared(self) -> bool:
        """Whether this is a shared screen in the clinic, which forgets everything at the end."""
        return self.invitation.way == Way.KIOSK

    @property
    def back_to_check(self) -> bool:
        """Whether the patient came here from the check page to change something."""
        return self.request.GET.get("back") == "check"


def through_link(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Make a view of a function that takes a Visit: opens the link or says why it does not."""

    # The token in the address is the leave: nothing here rests on a cookie that a strange page
    # could make the browser send, and a CSRF cookie would be a session by another name.
    @csrf_exempt
    @open_to(LINK_HOLDER)
    @wraps(view)
    def opened(request: HttpRequest, token: str, **kwargs: Any) -> HttpResponse:
        refused = refuse(request)
        if refused:
            return refused
        at = now()
        link = open_link(token, at=at)
        if link.invitation is None:
            return not_found_page()
        if link.invitation.way == Way.KIOSK and (
            link.state != LinkState.GOOD or not is_open(request, token, at=at)
        ):
            return leave(token)
        if link.state != LinkState.GOOD:
            address = reverse("quiz-renew", args=[token], query=request.GET.dict() or None)
            return dead_page(request, link.state, renew_url=address)
        visit = Visit(request, token, at, link.invitation, programme.current())
        with translation.override(visit.language):
            try:
                response = view(visit, **kwargs)
            except Http404:
                return not_found_page()
        if response.status_code == 303 and request.method == "POST" and visit.language_asked:
            remember_language(response, visit.language_asked)
        response.headers.setdefault("Content-Language", visit.language)
        if visit.shared:
            _stay_open(response, visit)
        return response

    return opened


def _stay_open(response: HttpResponse, visit: Visit) -> None:
    """A page of a shared screen that lies idle asks who is there; that page leaves by itself."""
    path = visit.request.path
    if path == reverse("screen-idle", args=[visit.token]):
        over = visit.address("screen-over")
        keep_open(response, visit.token, at=visit.at, wait=ASKED_FOR, then=over)
        return
    wait = idle_limit(reading=path == reverse("quiz-start", args=[visit.token]))
    idle = visit.address("screen-idle", here=visit.here)
    keep_open(response, visit.token, at=visit.at, wait=wait, then=idle)


def refuse(request: HttpRequest) -> HttpResponse | None:
    """Return the answer to a request that no page of ours sends, or None."""
    if request.method not in {"GET", "HEAD", "POST"}:
        return HttpResponseNotAllowed(["GET", "HEAD", "POST"])
    length = str(request.META.get("CONTENT_LENGTH") or "0")
    if not length.isdecimal() or int(length[:20]) > LARGEST_FORM:
        return HttpResponse(render_to_string("400.html"), status=413)
    return None


def page(visit: Visit, name: str, context: dict[str, Any], *, status: int = 200) -> HttpResponse:
    """Render a page of a link.

    Without the request: context processors would ask who is signed in, and these pages have no
    session.
    """
    common = {
        "language": visit.language,
        "direction": direction_of(visit.language),
        "languages": [(code, own_name_of(code)) for code in visit.languages],
        "language_url": visit.address("quiz-language"),
        "here": visit.here,
        "programme": visit.programme,
        "phone_link": phone_link(visit.programme.phone),
        "emergency_link": phone_link(visit.programme.emergency_number),
        "not_saved": status == 503,
        # Behind the address of the question box, which the template completes.
        "asking": _asking(visit),
        "done_url": reverse("screen-over", args=[visit.token]) if visit.shared else "",
    }
    return HttpResponse(render_to_string(f"education/{name}.html", common | context), status=status)


def _asking(visit: Visit) -> str:
    """No question goes off a shared screen: its answer would come to a link that is dead."""
    if visit.shared:
        return ""
    return f"&l={visit.language_asked}" if visit.language_asked else "&"


def see(address: str) -> HttpResponse:
    """Send the browser on with a GET, so that neither back nor refresh sends a form again."""
    return HttpResponse(status=303, headers={"Location": address})


def where_it_stands(visit: Visit) -> HttpResponse:
    """Send on a page that needs an attempt in progress, when there is none."""
    handed_in = visit.submission and not visit.attempt
    return see(visit.address("quiz-result" if handed_in else "quiz-start"))


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
    for code in (_cookie(request), request.GET.get("l")):
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


def _cookie(request: HttpRequest) -> str:
    code = request.COOKIES.get(LANGUAGE_COOKIE, "")
    return code if code in codes() else ""
