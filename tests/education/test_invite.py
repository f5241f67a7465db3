"""Inviting: who can be, what one link replaces, and how long it lives."""

import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection, transaction
from pytest_django import DjangoCaptureOnCommitCallbacks, Settings

from education.addresses import mark_address
from education.assign import require
from education.invite import Refusal, invite, take_back
from education.models import (
    Assignment,
    EndedBecause,
    Invitation,
    InvitationToken,
    Message,
    MessageState,
    Module,
)
from education.personal_link import LinkState, digest, end, issue_token, open_link
from education.rules.delivery import Why
from patients.models import Booking
from patients.register import correct
from patients.schedule import change, move
from tests.education.short_module import a_short_edition, take
from tests.factories import a_patient, a_programme, an_assignment, an_operation

pytestmark = pytest.mark.django_db

AT = datetime(2026, 3, 2, 15, tzinfo=UTC)
LATER = AT + timedelta(hours=1)
OR_DATE = date(2026, 3, 22)  # the module is open from 22 February


@pytest.fixture
def assignment() -> Assignment:
    a_programme(at=AT, attempts_allowed=1, link_valid_days=30)
    patient = a_patient(at=AT, language="es", email="Reader@Example.org")
    operation = an_operation(patient=patient, at=AT, or_date=OR_DATE)
    module = a_short_edition(at=AT).module
    return an_assignment(operation=operation, module=module, opens_days=-28, at=AT)


def _invited(assignment: Assignment, at: datetime = AT) -> Invitation:
    found = invite(assignment, at=at)
    assert isinstance(found, Invitation), found
    return found


def _state(token: str, at: datetime = LATER) -> LinkState:
    return open_link(Invitation, token, at=at).state


def test_an_invitation_and_its_email_are_written_together(assignment: Assignment) -> None:
    invitation = _invited(assignment)
    message = Message.objects.get(invitation=invitation)
    assert (message.address, message.language) == ("Reader@Example.org", "es")
    assert (message.state, message.tries, message.next_try_at) == (MessageState.WAITING, 0, AT)
    assert invitation.expires_at == AT + timedelta(days=30)
    assert not InvitationToken.objects.exists(), "the token is made when the email is"


def test_the_worker_is_woken_only_after_the_commit(
    assignment: Assignment,
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    with django_capture_on_commit_callbacks() as callbacks:
        _invited(assignment)
    assert len(callbacks) == 1
    with django_capture_on_commit_callbacks() as callbacks, transaction.atomic():
        invite(assignment, at=AT, not_before=LATER)
    assert callbacks == [], "what can still be taken back waits for the sweep"


# what stands in the way, what makes it so
REFUSED: list[tuple[Refusal, Callable[[Assignment], object]]] = [
    (
        Refusal.NO_EMAIL,
        lambda a: correct(a.operation.patient, at=AT, source="x", email=""),
    ),
    (
        Refusal.ADDRESS_MARKED,
        lambda a: mark_address(_invited(a).message, Why.NO_MAILBOX, at=AT),
    ),
    (Refusal.CLOSED, lambda a: change(a.operation, at=AT, booking=Booking.CANCELLED)),
    (Refusal.NO_DATE, lambda a: move(a.operation, None, at=AT)),
    (Refusal.NOT_OPEN_YET, lambda a: move(a.operation, date(2026, 3, 31), at=AT)),
    (Refusal.NO_ATTEMPT_LEFT, lambda a: take(_invited(a), "00000", at=AT)),
]


@pytest.mark.parametrize("refused, make_it_so", REFUSED, ids=[row[0] for row in REFUSED])
def test_who_cannot_be_invited(
    assignment: Assignment, refused: Refusal, make_it_so: Callable[[Assignment], object]
) -> None:
    make_it_so(assignment)
    before = Message.objects.count()
    assert invite(assignment, at=LATER) == refused
    assert Message.objects.count() == before


def test_a_module_that_was_never_published_cannot_be_sent(assignment: Assignment) -> None:
    empty = Module.objects.create(code="empty")
    require(assignment.operation.procedure, empty, opens_days=-28, clear_by_days=-7, at=AT)
    assert invite(Assignment.objects.get(module=empty), at=AT) == Refusal.NOT_PUBLISHED


def test_every_refusal_is_tried() -> None:
    assert {row[0] for row in REFUSED} | {Refusal.NOT_PUBLISHED} == set(Refusal)


@pytest.mark.parametrize(
    "at, refused, why",
    [
        ("2026-02-22T06:00", None, "the first instant of the day it opens, in Chicago"),
        ("2026-02-22T05:59", Refusal.NOT_OPEN_YET, "a minute before"),
        ("2026-03-20T12:00", None, "late is better than never"),
    ],
)
def test_inviting_opens_on_the_local_day(
    assignment: Assignment, at: str, refused: Refusal | None, why: str
) -> None:
    found = invite(assignment, at=datetime.fromisoformat(at).replace(tzinfo=UTC))
    assert (found if isinstance(found, Refusal) else None) == refused


def test_a_new_link_replaces_the_earlier_one_and_its_waiting_email(assignment: Assignment) -> None:
    first = _invited(assignment)
    token = issue_token(first, at=AT)
    second = _invited(assignment, at=LATER)
    assert first.end.because == EndedBecause.REPLACED
    assert Message.objects.get(invitation=first).state == MessageState.WITHDRAWN
    assert _state(token) == LinkState.ENDED
    assert _state(issue_token(second, at=LATER)) == LinkState.GOOD


def test_ending_twice_is_ending_once(assignment: Assignment) -> None:
    invitation = _invited(assignment)
    assert end(invitation, EndedBecause.WITHDRAWN, at=AT)
    assert not end(invitation, EndedBecause.REPLACED, at=LATER)
    assert Invitation.objects.get().end.because == EndedBecause.WITHDRAWN


def test_a_link_is_taken_back_while_its_email_waits(assignment: Assignment, clinician: int) -> None:
    waiting = invite(assignment, at=AT, not_before=LATER)
    assert isinstance(waiting, Invitation)
    assert take_back(waiting, at=AT, by_id=clinician)
    assert Message.objects.get().state == MessageState.WITHDRAWN
    assert not take_back(waiting, at=AT, by_id=clinician)


@pytest.mark.parametrize("state", [MessageState.SENDING, MessageState.SENT])
def test_what_has_gone_out_is_not_taken_back(
    assignment: Assignment, clinician: int, state: MessageState
) -> None:
    invitation = _invited(assignment)
    Message.objects.update(state=state, tries=1, sent_at=AT)
    assert not take_back(invitation, at=AT, by_id=clinician)
    assert _state(issue_token(invitation, at=AT)) == LinkState.GOOD


@pytest.mark.parametrize(
    "after, state",
    [
        (timedelta(0), LinkState.GOOD),
        (timedelta(days=30, microseconds=-1), LinkState.GOOD),
        (timedelta(days=30), LinkState.EXPIRED),
    ],
)
def test_a_link_lives_as_long_as_the_programme_says(
    assignment: Assignment, after: timedelta, state: LinkState
) -> None:
    token = issue_token(_invited(assignment), at=AT)
    assert _state(token, at=AT + after) == state


def test_a_changed_address_kills_the_link_and_another_spelling_of_it_does_not(
    assignment: Assignment,
) -> None:
    token = issue_token(_invited(assignment), at=AT)
    patient = assignment.operation.patient
    correct(patient, at=LATER, source="x", email="reader@example.org")
    assert _state(token) == LinkState.GOOD
    correct(patient, at=LATER, source="x", email="other@example.org")
    assert _state(token) == LinkState.ENDED
    correct(patient, at=LATER, source="x", email="reader@example.org")
    assert _state(token) == LinkState.ENDED, "changed back: the link stays dead"


def test_a_cancelled_operation_kills_the_link_and_reviving_it_gives_it_back(
    assignment: Assignment,
) -> None:
    token = issue_token(_invited(assignment), at=AT)
    change(assignment.operation, at=LATER, booking=Booking.CANCELLED)
    assert _state(token) == LinkState.ENDED
    change(assignment.operation, at=LATER, booking=Booking.PROPOSED)
    assert _state(token) == LinkState.GOOD


def test_a_moved_date_leaves_the_link_alone(assignment: Assignment) -> None:
    token = issue_token(_invited(assignment), at=AT)
    move(assignment.operation, date(2026, 4, 1), at=LATER)
    assert _state(token) == LinkState.GOOD


@pytest.mark.parametrize("token", ["", "x", "x" * 10_000, "\x00", "é", "' OR 1=1 --"])
def test_what_is_no_token_opens_nothing(token: str) -> None:
    link = open_link(Invitation, token, at=AT)
    assert (link.state, link.link) == (LinkState.UNKNOWN, None)


def test_a_token_has_256_random_bits_and_stands_nowhere_in_the_database(
    assignment: Assignment,
) -> None:
    """Promise W5. 43 characters of base64url (RFC 4648, section 5) carry 256 bits."""
    invitation = _invited(assignment)
    tokens = [issue_token(invitation, at=AT) for _ in range(50)]
    assert len(set(tokens)) == 50
    assert all(re.fullmatch(r"[A-Za-z0-9_-]{43}", token) for token in tokens)
    assert InvitationToken.objects.filter(digest__in=map(digest, tokens)).count() == 50
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f'SELECT * FROM "{table}"')
            everything = repr(cursor.fetchall())
            assert not any(token in everything for token in tokens), table


def test_the_hash_is_sha_256() -> None:
    """The one-block example of FIPS 180-2, appendix B.1."""
    assert digest("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_the_message_id_is_one_whatever_the_senders_name(
    assignment: Assignment, settings: Settings
) -> None:
    """RFC 5322, section 3.6.4: <left@right>, with one pair of angle brackets."""
    settings.MAIL_FROM = "Larkfield Programme <programme@larkfield.example>"
    settings.MAIL_DOMAIN = "larkfield.example"
    _invited(assignment)
    assert re.fullmatch(r"<[0-9a-f-]{36}@larkfield\.example>", Message.objects.get().message_id)
