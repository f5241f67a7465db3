"""Every route x every role (promise S8). A route that is not in this table fails the test.

D dietitian, C clinician, O coordinator, A administrator, U auditor. "anyone" needs no sign-in and
shows no patient's facts; "link" is open to whoever holds a personal link, "token" to a system that
sends one in its request's header.
"""

from typing import Any

import pytest
from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.http import HttpRequest, HttpResponse
from django.test import Client, override_settings
from django.urls import URLPattern, URLResolver, path

from clinic.models import Role, StaffUser
from clinic.urls import urlpatterns as ours
from patients.open_to import ANYONE, LINK_HOLDER, TOKEN_HOLDER
from tests.clinic.test_headers import check
from tests.every_route import Route, every_route, sample_records
from tests.factories import a_member, a_programme, signed_in
from tests.which_database import ON_POSTGRES

ROUTES = {
    # anybody
    "healthz": "anyone",
    "readyz": "anyone",  # counts and ages, for whoever keeps watch
    "sign-in": "anyone",
    "sign-out": "anyone",
    "kiosk": "anyone",  # asks for a code, and shows nothing about anybody
    "mail-tray": "anyone",  # exists in the demo alone
    "mail-tray-message": "anyone",
    "teaching-file": "anyone",  # a picture or video of the teaching, by the hash of its content
    # patients
    "quiz-start": "link",
    "quiz-question": "link",
    "quiz-you": "link",
    "quiz-check": "link",
    "quiz-result": "link",
    "quiz-language": "link",
    "quiz-renew": "link",
    "quiz-ask": "link",
    "quiz-asked": "link",
    "answer": "link",
    "screen-idle": "link",
    "screen-over": "link",
    "link-to-nowhere": "link",
    "plan": "link",
    "plan-done": "link",
    "plan-meals": "link",
    "plan-calendar": "link",
    "plan-feed-make": "link",
    "plan-feed-end": "link",
    "plan-feed": "link",
    # staff, by the private address of a calendar
    "calendar-feed": "link",
    # all staff
    "home": "DCOAU",
    "password": "DCOAU",
    "own-page": "DCOAU",
    "all-pages": "DCOAU",
    "modules": "DCOAU",
    "module": "DCOAU",
    # writing a module: a dietitian or administrator; whoever wrote no part of it reviews
    "module-new": "DA",
    "module-draft-begin": "DA",
    "module-draft": "DCA",
    "module-draft-head": "DA",
    "module-draft-section": "DA",
    "module-draft-picture": "DA",
    "module-draft-video": "DA",
    "module-draft-section-look": "DA",  # shows what is typed, and keeps nothing
    "module-draft-question-look": "DA",
    "module-draft-question-new": "DA",
    "module-draft-question": "DA",
    "module-draft-arrange": "DA",
    "module-draft-preview": "DCA",
    "module-draft-review": "DCA",
    "module-draft-publish": "DA",
    "module-draft-aside": "DA",
    "module-archive": "DA",
    "often-asked-new": "DA",
    "often-asked-entry": "DA",
    "quiz-measured": "DCOAU",
    "quiz-measured-csv": "DCOAU",
    "how-it-reads": "DCOAU",
    "clear-communication": "DCOAU",
    # reading
    "morning": "DCOAU",
    "patient": "DCOAU",
    "call-sheet": "DCOAU",
    "clearance-record-pdf": "DCOAU",
    "clearance-record-csv": "DCOAU",
    "clearance-record-fhir": "DCOAU",
    "submissions": "DCOAU",
    "submission": "DCOAU",
    "questions": "DCOAU",
    "question": "DCOAU",
    "often-asked": "DCOAU",
    "not-translated": "DCOAU",
    "operations": "DCOAU",
    "operation": "DCOAU",
    "look-again": "DCOAU",
    "mail": "DCOAU",
    # caring for patients
    "invite-several": "DC",
    "invited-several": "DC",
    # the quiz on paper, on a shared screen, by phone
    "other-ways": "DC",
    "print-sheets": "DC",
    "printed-sheets": "DC",
    "sheets-pdf": "DC",
    "sheet-pdf": "DC",
    "withdraw-sheets": "DC",
    "withdraw-sheet": "DC",
    "enter-code": "DC",
    "enter-sheet": "DC",
    "screen-code": "DC",
    "phone-begin": "DC",
    "phone-quiz": "DC",
    "patient-copy": "DC",
    "take-back-invitations": "DC",
    "log-contact": "DC",
    "correct-contact": "DC",
    "correct-patient": "DC",
    "invite": "DC",
    "teach-back": "DC",
    "revoke-clearance": "DC",
    "question-answer": "DC",
    "decide-identity": "DC",
    "undo-identity": "DC",
    "note-submission": "DC",
    "add-other-name": "DC",
    "end-other-name": "DC",
    # who is who on the register
    "duplicates": "DCOAU",
    "find-same": "DCA",
    "merge": "DCA",
    "undo-merge": "DCA",
    "keep-apart": "DCA",
    "end-kept-apart": "DCA",
    # a clinician's alone
    "sign-off": "C",
    "waive": "C",
    "revoke-waiver": "C",
    "second-opinion": "C",
    "revoke-sign-off": "C",
    "sign-edition": "C",
    # the schedule and the OR dates
    "metrics": "token",
    "fhir-intake": "token",
    "mail-events": "token",  # there is no such page until its secret is set
    "intake-tokens": "A",
    "revoke-intake-token": "A",
    "intake": "DCOAU",
    "intake-message": "DCOAU",
    "intake-apply": "DOA",
    "intake-set-aside": "DOA",
    "intake-take-up": "DOA",
    "intake-words": "DCOAU",
    "intake-word-forget": "DOA",
    "schedule-import": "DOA",
    "schedule-preview": "DOA",
    "schedule-rejected": "DOA",
    "schedule-columns": "DOA",
    "schedule-words": "DOA",
    "calendar": "CO",
    "calendar-revoke": "CO",
    "operation-confirm": "CO",
    "operation-confirm-against-hold": "CO",
    "operation-booking": "CO",
    "operation-move": "CO",
    # the programme's mail
    "mail-held": "DA",
    "mail-decided": "DCA",
    "mail-try-again": "DCA",
    "mail-by-phone": "DCA",
    "mail-answer": "DCA",
    "mail-texts": "DA",
    "mail-text": "DA",
    "reminders": "DA",
    # the programme
    "rehearsal": "DCA",  # reads, and writes nothing
    "running": "A",
    "running-parked": "A",
    "staff": "A",
    "staff-member": "A",
    "staff-active": "A",
    "programme": "A",
    "requirements": "A",
    "requirement": "A",
    "trail": "UA",
    # the eating plan: a dietitian or administrator writes the stages, a clinician signs
    "eating-today": "DCOAU",
    "label-check": "DCOAU",
    "eating-stages": "DCOAU",
    "eating-stages-found": "DA",
    "eating-stages-sign": "C",
    "eating-stage-days": "DA",
    "eating-stage": "DA",
    "eating-plan": "DCOAU",
    "eating-plan-pdf": "DCOAU",
    "eating-plan-ics": "DCOAU",
    "eating-facts": "DC",
    "eating-choices": "DC",
    "eating-set-aside": "DC",
    "eating-give": "DC",
    "eating-send": "DC",
    "eating-told": "DC",
    "eating-discussed": "C",
}

LETTER = {
    Role.DIETITIAN: "D",
    Role.CLINICIAN: "C",
    Role.COORDINATOR: "O",
    Role.ADMINISTRATOR: "A",
    Role.AUDITOR: "U",
}
# The only ones that may have nothing behind them: what they show is made elsewhere or not at all.
MAY_BE_EMPTY = {
    "mail-tray",
    "mail-tray-message",
    "link-to-nowhere",
    "invited-several",
}


def test_the_table_names_every_route_and_no_other() -> None:
    assert {route.name for route in every_route()} == set(ROUTES)


def test_every_view_declares_whom_the_table_says() -> None:
    for route in every_route():
        declared = getattr(route.view, "open_to", None)
        assert declared, f"{route.pattern} does not say who may open it"
        if ROUTES[route.name] == "anyone":
            assert ANYONE in declared, route.name
        elif ROUTES[route.name] == "link":
            assert declared == {LINK_HOLDER}, route.name
        elif ROUTES[route.name] == "token":
            assert declared == {TOKEN_HOLDER}, route.name
        else:
            expected = {role for role in Role if LETTER[role] in ROUTES[route.name]}
            assert declared == expected, route.name


@pytest.fixture
def sample(db: None) -> dict[str, Any]:
    a_programme()
    return sample_records(a_member(Role.ADMINISTRATOR))


@pytest.mark.parametrize("method", ["get", "post"])
def test_every_route_by_every_role(sample: dict[str, Any], method: str) -> None:
    """A POST carries nothing, so where it may go it changes nothing and is told so.

    Each page, also the one for whoever may not, is asked for its headers too (promise T2).
    """
    members = [a_member(role) for role in Role]
    seen: set[tuple[str, int]] = set()
    cookie = settings.SESSION_COOKIE_NAME
    sessions = {member.pk: signed_in(member).cookies[cookie].value for member in members}
    for number, route in enumerate(every_route()):
        # A browser of its own each time, and a session of its own where one signs out.
        for member in _asking(route, members, number):
            client = Client()
            if member and route.name == "sign-out":
                client = signed_in(member)
            elif member:
                client.cookies[cookie] = sessions[member.pk]
            response = getattr(client, method)(route.address(sample))
            _right_for(Role(member.role) if member else None, route, method, response)
            page = (route.name, response.status_code)
            if page not in seen:  # what a page says to the browser does not hang on the role
                check(response, route.name)
                seen.add(page)
    if not ON_POSTGRES:  # the plain pages are among them
        assert {200, 302, 403, 404, 405} <= {status for _, status in seen}


def _asking(route: Route, members: list[StaffUser], number: int) -> list[StaffUser | None]:
    """Everybody and a stranger; on PostgreSQL one who may, for whose sake the page asks it.

    What is open to all alike asks nobody's role: a stranger, and one role after the other in turn.
    """
    if ON_POSTGRES:
        may = (one for one in members if LETTER[Role(one.role)] in ROUTES[route.name])
        return [next(may, None)]
    if ROUTES[route.name] in ("anyone", "link", "token"):
        return [None, members[number % len(members)]]
    return [None, *members]


def _right_for(role: Role | None, route: Route, method: str, response: Any) -> None:
    said = f"{role} {method} {route.name}: {response.status_code}"
    if ROUTES[route.name] == "token":
        # One takes only GET, the other only POST.
        reads = route.name == "metrics"
        refused = 404 if route.name == "mail-events" else 401
        assert response.status_code == (refused if reads == (method == "get") else 405), said
    elif ROUTES[route.name] in ("anyone", "link"):
        assert response.status_code not in (401, 403), said
        if route.name == "readyz":
            return  # 503 says that something is not ready, here the schedule
    elif role is None:
        assert response.status_code == 302, said
        assert response["Location"].startswith("/sign-in/?next="), said
        return
    elif LETTER[role] not in ROUTES[route.name]:
        assert response.status_code == 403, said
        return
    else:
        assert response.status_code in (200, 302, 400, 405, 409, 422), said
        assert not response.get("Location", "").startswith("/sign-in/"), said
    if route.name not in MAY_BE_EMPTY:
        assert response.status_code != 404 or method == "post", said
    assert response.status_code < 500, said


def test_a_disabled_account_is_nobody_on_every_route(sample: dict[str, Any]) -> None:
    member = a_member(Role.ADMINISTRATOR)
    client = signed_in(member)
    StaffUser.objects.filter(pk=member.pk).update(is_active=False)
    for route in every_route():
        if ROUTES[route.name] not in ("anyone", "link", "token"):
            response = client.get(route.address(sample))
            assert response["Location"].startswith("/sign-in/?next="), route.name


def undeclared(request: HttpRequest) -> HttpResponse:
    return HttpResponse("open to whom?")


urlpatterns: list[URLPattern | URLResolver] = [*ours, path("undeclared/", undeclared)]


@pytest.mark.django_db
@override_settings(ROOT_URLCONF=__name__)
def test_a_view_that_declares_nothing_is_refused() -> None:
    with pytest.raises(ImproperlyConfigured):
        signed_in(Role.ADMINISTRATOR).get("/undeclared/")
