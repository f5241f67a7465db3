"""A visit to the pages of a module and its quiz, behind an invitation's link."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, wraps
from typing import Any
from urllib.parse import urlencode

from django.db.models import BigIntegerField, QuerySet
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.urls import reverse

from education.attempts import may_begin
from education.models import Attempt, Edition, Invitation, Submission
from education.personal_link import LinkState
from education.rules.quiz_way import Way
from education.shared_screen import ASKED_FOR, idle_limit, is_open, keep_open, leave
from education.take import in_progress
from education.views.opening import (
    chosen_before,
    chosen_language,
    dead_page,
    on_every_page,
    remember_language,
    see,
    through,
)
from patients import programme
from patients.models import Programme
from patients.prepared import Given, prepared
from patients.rules.languages import codes, own_name_of


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
        return _latest_of_link.first(invitation=self.invitation.pk)

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
        return asked if asked in self.languages and not chosen_before(self.request) else ""

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


@prepared
def _latest_of_link() -> QuerySet[Submission]:
    own = Submission.objects.filter(attempt__invitation=Given("invitation", BigIntegerField()))
    return own.select_related("edition", "attempt").order_by("-recorded_at", "-id")[:1]


def through_link(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Make a view of a function that takes a Visit: opens the link or says why it does not."""

    @wraps(view)
    def finished(visit: Visit, **kwargs: Any) -> HttpResponse:
        response = view(visit, **kwargs)
        if response.status_code == 303 and visit.request.method == "POST" and visit.language_asked:
            remember_language(response, visit.language_asked)
        if visit.shared:
            _stay_open(response, visit)
        return response

    return through(Invitation, "token", _visit, finished)


def _visit(
    request: HttpRequest, token: str, at: datetime, invitation: Invitation, state: LinkState
) -> Visit | HttpResponse:
    good = state == LinkState.GOOD
    if invitation.way == Way.KIOSK and not (good and is_open(request, token, at=at)):
        return leave(token)
    if not good:
        address = reverse("quiz-renew", args=[token], query=request.GET.dict() or None)
        return dead_page(request, state, renew_url=address)
    return Visit(request, token, at, invitation, programme.current())


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


def page(visit: Visit, name: str, context: dict[str, Any], *, status: int = 200) -> HttpResponse:
    """Render a page of a link.

    Without the request: context processors would ask who is signed in, and these pages have no
    session.
    """
    base = on_every_page(visit.language, visit.programme)
    common = {
        "languages": [(code, own_name_of(code)) for code in visit.languages],
        "language_url": visit.address("quiz-language"),
        "here": visit.here,
        "not_saved": status == 503,
        # Behind the address of the question box, which the template completes.
        "asking": _asking(visit),
        "done_url": reverse("screen-over", args=[visit.token]) if visit.shared else "",
    }
    return HttpResponse(
        render_to_string(f"education/{name}.html", base | common | context), status=status
    )


def _asking(visit: Visit) -> str:
    """No question goes off a shared screen: its answer would come to a link that is dead."""
    if visit.shared:
        return ""
    return f"&l={visit.language_asked}" if visit.language_asked else "&"


def where_it_stands(visit: Visit) -> HttpResponse:
    """Send on a page that needs an attempt in progress, when there is none."""
    handed_in = visit.submission and not visit.attempt
    return see(visit.address("quiz-result" if handed_in else "quiz-start"))
