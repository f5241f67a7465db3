"""Sending the waiting emails through a real SMTP server (promises B1, B2, B6 and W10).

What is received is parsed by Python's `email` package under its default policy (RFC 5322).
"""

import re
import smtplib
import socket
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from email.utils import parsedate_to_datetime
from itertools import pairwise
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session
from django.core.mail import EmailMultiAlternatives
from django.db import connection, transaction
from pytest_django import Settings

from education.by_email import ByEmail
from education.channel import HandedOver, Outcome
from education.emails import email_of
from education.invite import invite
from education.models import Invitation, InvitationToken, Message, MessageState
from education.personal_link import LinkState, open_link
from education.send import LEASE, RETRY_AFTER, send, sweep
from education.tasks import send_message
from patients.models import Patient
from patients.register import correct
from patients.schedule import change
from tests.education.short_module import a_short_edition, answer, hand_in
from tests.education.short_module import take as take_quiz
from tests.factories import a_patient, a_programme, an_assignment, an_operation
from tests.mailbox import Mailbox, Received
from tests.servers import free_port
from tests.tells import dated

pytestmark = pytest.mark.django_db

AT = datetime(2026, 3, 2, 15, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
WAITING, SENDING, SENT = MessageState.WAITING, MessageState.SENDING, MessageState.SENT
FAILED, WITHDRAWN = MessageState.FAILED, MessageState.WITHDRAWN
AMBIGUOUS = MessageState.AMBIGUOUS
LINK = re.compile(r"https?://\S+")
TOKEN = re.compile(r"/q/([^/]+)/")
# What would tell whoever sees the subject, the sender or the link that somebody is ill.
HEALTH = re.compile(
    r"operat|surg|weight|bariatr|diet|nutri|clinic|hospital|patient|medic|health|quiz|test|liver|"
    r"stomach|obes|peso|ciru|paciente|salud|dieta|cl[ií]nic",
    re.IGNORECASE,
)


@pytest.fixture(autouse=True)
def sender(settings: Settings) -> None:
    """A sender's address and a public address of the programme's own."""
    settings.MAIL_FROM = "Larkfield <desk@larkfield.example>"
    settings.MAIL_DOMAIN = "larkfield.example"
    settings.PUBLIC_URL = "https://larkfield.example"
    settings.EMAIL_TIMEOUT = 5


@dataclass
class Script:
    """An SMTP server that answers as it is told, and remembers what it accepted."""

    port: int
    recipient: str = "250 OK"
    accept: Callable[[SMTP], str] = field(default=lambda server: "250 OK")
    accepted: list[bytes] = field(default_factory=list)
    connections: int = 0

    async def handle_EHLO(  # noqa: N802
        self, server: SMTP, session: Session, envelope: Envelope, name: str, lines: list[str]
    ) -> list[str]:
        self.connections += 1
        session.host_name = name
        return lines

    async def handle_RCPT(  # noqa: N802
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if self.recipient.startswith("250"):
            envelope.rcpt_tos.append(address)
        return self.recipient

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802
        answered = self.accept(server)
        if answered.startswith("250"):
            self.accepted.append(envelope.original_content or b"")
        return answered


@pytest.fixture
def script(settings: Settings) -> Iterator[Script]:
    """A mail server that answers as the test says."""
    told = Script(free_port())
    controller = Controller(told, hostname="127.0.0.1", port=told.port)
    settings.EMAIL_BACKEND = "education.mail_server.Backend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", told.port
    controller.start()
    try:
        yield told
    finally:
        controller.stop()


def a_message(**facts: Any) -> Message:
    """Invite a patient of their own; the email waits."""
    a_programme(at=AT)
    patient = a_patient(at=AT, **facts)
    operation = an_operation(patient=patient, at=AT, or_date=date(2026, 3, 22))
    edition = a_short_edition(at=AT)
    assignment = an_assignment(operation=operation, module=edition.module, at=AT)
    invitation = invite(assignment, at=AT)
    assert isinstance(invitation, Invitation)
    return Message.objects.get(invitation=invitation)


def state_of(message: Message) -> str:
    """The state on record."""
    return Message.objects.get(pk=message.pk).state


def token_in(text: str) -> str:
    """The token of the link in a message."""
    found = TOKEN.search(text)
    assert found
    return found[1]


# --- what goes out --------------------------------------------------------------------------------


@pytest.fixture(params=["en", "es"])
def received(request: pytest.FixtureRequest, smtp_server: Mailbox) -> Received:
    """The invitation as the server took it, in each language."""
    message = a_message(
        language=request.param,
        mrn="MRN-778899",
        given_names="Zenobia",
        family_names="Quillfeather",
        birth_date=date(1967, 11, 23),
        email="reader@example.org",
        phone="312-555-0199",
    )
    assert send(message.pk, at=AT)
    (one,) = smtp_server.to("reader@example.org")
    return one


def test_it_goes_out_once_with_the_headers_of_rfc_5322(received: Received) -> None:
    message = Message.objects.get()
    assert (message.state, message.sent_at, message.tries) == (SENT, AT, 1)
    for name in ("Message-ID", "Date", "From", "To", "Subject", "MIME-Version"):
        assert len(received.message.get_all(name, [])) == 1, name
    assert received.message["Message-ID"] == message.message_id
    assert received.message["To"].addresses[0].addr_spec == "reader@example.org"
    assert received.message["From"].addresses[0].addr_spec == "desk@larkfield.example"
    assert received.sender == "desk@larkfield.example"
    assert parsedate_to_datetime(received.message["Date"])
    assert received.message["Date"].endswith(" -0000")  # UTC (section 3.3)
    assert not received.message.defects
    assert max(len(line) for line in received.raw.split(b"\r\n")) <= 998  # section 2.1.1


def test_a_second_send_and_a_sweep_send_nothing_more(
    received: Received, smtp_server: Mailbox
) -> None:
    message = Message.objects.get()
    assert not send(message.pk, at=AT + timedelta(days=1))
    assert sweep(at=AT + timedelta(days=1)) == 0
    send_message(message.pk)
    assert smtp_server.received == [received]


def test_plain_text_comes_first_and_says_the_same(received: Received) -> None:
    assert received.message.get_content_type() == "multipart/alternative"
    kinds = [part.get_content_type() for part in received.message.iter_parts()]
    assert kinds == ["text/plain", "text/html"]
    html = received.message.get_body(("html",))
    assert html is not None
    words = re.sub(r"<head>.*</head>|<[^>]+>", " ", str(html.get_content()), flags=re.DOTALL)
    assert words.split() == received.text.split()


def test_w10_one_link_shown_in_full(received: Received) -> None:
    (link,) = LINK.findall(received.text)
    assert link.startswith("https://larkfield.example/q/")
    html = received.message.get_body(("html",))
    assert html is not None
    anchors = re.findall(r'<a href="([^"]+)">([^<]+)</a>', str(html.get_content()))
    assert [(href, text) for href, text in anchors] == [(link, link)]
    assert "src=" not in str(html.get_content()), "nothing is fetched when it is opened"
    opened = open_link(Invitation, token_in(link), at=AT)
    assert (opened.state, opened.link) == (LinkState.GOOD, Invitation.objects.get())


def test_w10_it_is_short(received: Received) -> None:
    assert len(received.raw) <= 30_000
    assert len(LINK.sub("", received.text).split()) <= 120


def test_w10_no_health_word_where_others_look(received: Received) -> None:
    headers = "\n".join(f"{name}: {value}" for name, value in received.message.items())
    preview = " ".join(received.text.split())[:90]
    (link,) = LINK.findall(received.text)
    outside = link.replace(token_in(link), "") + preview + headers
    assert not HEALTH.search(outside), HEALTH.search(outside)


def test_w10_no_stored_fact_about_the_patient_anywhere(received: Received) -> None:
    patient = Patient.objects.get()
    everything = received.raw.decode() + received.text
    for fact in (
        patient.given_names,
        patient.family_names,
        patient.mrn,
        patient.phone,
        "2026-03-22",
    ):
        assert fact not in everything.replace(received.message["Date"], ""), fact
    assert not dated(everything, year=1967)


def test_the_words_are_in_the_patients_language(received: Received) -> None:
    spanish = Message.objects.get().language == "es"
    assert ("Hola" in received.text) is spanish
    assert ("Hello" in received.text) is not spanish
    assert f"l={Message.objects.get().language}" in received.text
    assert f'lang="{Message.objects.get().language}"' in received.raw.decode()


# --- once -----------------------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_b2_several_senders_at_once_send_one(smtp_server: Mailbox) -> None:
    message = a_message(email="one@example.org")

    def try_once(number: int) -> bool:
        try:
            return send(message.pk, at=AT)
        finally:
            connection.close()

    with ThreadPoolExecutor(6) as pool:
        outcomes = list(pool.map(try_once, range(12)))
    assert outcomes.count(True) == 1
    assert len(smtp_server.to("one@example.org")) == 1


def test_fault_13_a_worker_killed_after_the_server_accepted_sends_at_most_once_more(
    smtp_server: Mailbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    message = a_message(email="one@example.org")

    def killed(*args: object, **kwargs: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("education.send._sent", killed)
        with pytest.raises(KeyboardInterrupt):
            send(message.pk, at=AT)
    assert state_of(message) == SENDING
    assert sweep(at=AT + LEASE - timedelta(seconds=5)) == 0, "the lease has not run out"
    assert sweep(at=AT + LEASE + MINUTE) == 1
    assert sweep(at=AT + timedelta(days=1)) == 0
    first, again = smtp_server.to("one@example.org")
    assert first.message["Message-ID"] == again.message["Message-ID"] == message.message_id
    for one in (first, again):
        assert open_link(Invitation, token_in(one.text), at=AT).state == LinkState.GOOD


def test_a_worker_killed_before_the_server_accepted_loses_nothing(
    smtp_server: Mailbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    message = a_message(email="one@example.org")

    def killed(*args: object, **kwargs: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("education.by_email.issue_token", killed)
        with pytest.raises(KeyboardInterrupt):
            send(message.pk, at=AT)
    assert sweep(at=AT + LEASE + MINUTE) == 1
    assert len(smtp_server.to("one@example.org")) == 1


def test_a_slow_server_is_handed_only_what_was_looked_at_just_now(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Each lease is counted from its claim: else another sweep would take a message from under
    this one's hands, and send it twice.
    """
    messages = [a_message() for _ in range(3)]
    passed = [0.0]
    monkeypatch.setattr("education.send.time.monotonic", lambda: passed[0])
    leases: list[datetime | None] = []

    def take_long(channel: ByEmail, message: Message, **kwargs: object) -> HandedOver:
        passed[0] += 15
        leases.append(message.lease_until)
        return HandedOver(Outcome.TAKEN)

    monkeypatch.setattr(ByEmail, "send", take_long)
    assert sweep(at=AT) == 3
    assert leases == [AT + timedelta(seconds=15 * n) + LEASE for n in range(3)]
    assert [Message.objects.get(pk=m.pk).tries for m in messages] == [1, 1, 1]


def test_what_happens_while_a_slow_server_has_one_overtakes_the_others(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    first, second = a_message(), a_message()
    passed = [0.0]
    monkeypatch.setattr("education.send.time.monotonic", lambda: passed[0])

    def meanwhile(channel: ByEmail, message: Message, **kwargs: object) -> HandedOver:
        passed[0] += 5
        assert second.invitation
        change(second.invitation.assignment.operation, at=AT, booking="cancelled")
        return HandedOver(Outcome.TAKEN)

    monkeypatch.setattr(ByEmail, "send", meanwhile)
    assert sweep(at=AT) == 1
    assert (state_of(first), state_of(second)) == (SENT, WITHDRAWN)


def test_a_slow_sweep_leaves_the_rest_to_the_next(monkeypatch: pytest.MonkeyPatch) -> None:
    """A task that never ended would be taken for lost, and its time limit would kill it."""
    for _ in range(3):
        a_message()
    passed = [0.0]
    monkeypatch.setattr("education.send.time.monotonic", lambda: passed[0])

    def take_long(*_: object, **__: object) -> HandedOver:
        passed[0] += 40
        return HandedOver(Outcome.TAKEN)

    monkeypatch.setattr(ByEmail, "send", take_long)
    assert sweep(at=AT) == 2
    assert Message.objects.filter(state=WAITING, tries=0).count() == 1


def test_what_ends_its_senders_is_taken_alone_afterwards(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else the emails claimed with it would use up their tries on its account."""
    deadly, good = a_message(), a_message()
    real = ByEmail.send

    def die(channel: ByEmail, message: Message, *, at: datetime) -> HandedOver:
        if message.pk == deadly.pk:
            raise SystemExit
        return real(channel, message, at=at)

    monkeypatch.setattr(ByEmail, "send", die)
    for n in range(2):
        with pytest.raises(SystemExit):
            sweep(at=AT + n * (LEASE + MINUTE))
    assert (state_of(deadly), state_of(good)) == (SENDING, SENDING)
    assert sweep(at=AT + LEASE + 2 * MINUTE) == 1
    assert (state_of(good), Message.objects.get(pk=good.pk).tries) == (SENT, 2)


def test_b3_a_message_that_ends_each_of_its_senders_parks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Killed, a sender says nothing: only the tries that were counted beforehand tell."""
    message = a_message()

    def killed(channel: ByEmail, message: Message, **kwargs: object) -> HandedOver:
        raise SystemExit

    monkeypatch.setattr(ByEmail, "send", killed)
    at = AT
    for _ in range(len(RETRY_AFTER) + 1):
        with pytest.raises(SystemExit):
            send(message.pk, at=at)
        at += LEASE + MINUTE
    assert not send(message.pk, at=at)
    message.refresh_from_db()
    assert (message.state, message.problem) == (FAILED, "every sender of it was ended")


def test_b2_nothing_goes_out_for_work_that_was_rolled_back(smtp_server: Mailbox) -> None:
    with transaction.atomic():
        a_message(email="one@example.org")
        transaction.set_rollback(True)
    assert sweep(at=AT + MINUTE) == 0
    assert smtp_server.received == []


# --- refused, broken, and overtaken ---------------------------------------------------------------


def test_b6_a_4yz_is_tried_at_least_five_times_more_over_four_hours(script: Script) -> None:
    script.recipient = "450 4.2.1 Try again later"
    message = a_message()
    tried = []
    for minute in range(0, 12 * 60):
        before = Message.objects.get(pk=message.pk).tries
        sweep(at=AT + minute * MINUTE)
        if Message.objects.get(pk=message.pk).tries > before:
            tried.append(minute)
        if state_of(message) == FAILED:
            break
    gaps = [later - earlier for earlier, later in pairwise(tried)]
    assert len(gaps) >= 5
    assert tried[-1] - tried[0] >= 4 * 60
    assert gaps == sorted(set(gaps)), "the gaps grow"
    assert state_of(message) == FAILED
    assert "450" in Message.objects.get().problem
    assert not script.accepted


def test_a_4yz_at_first_is_sent_later(script: Script) -> None:
    message = a_message()
    script.recipient = "451 4.7.1 Greylisted"
    assert not send(message.pk, at=AT)
    assert state_of(message) == WAITING
    script.recipient = "250 OK"
    assert not send(message.pk, at=AT), "not before its time"
    assert send(message.pk, at=AT + RETRY_AFTER[0])
    assert len(script.accepted) == 1


@pytest.mark.parametrize("code", [550, 552, 554])
def test_b6_a_5yz_is_final(script: Script, code: int) -> None:
    script.recipient = f"{code} 5.1.1 No such mailbox"
    message = a_message()
    assert not send(message.pk, at=AT)
    assert state_of(message) == FAILED
    assert str(code) in Message.objects.get().problem
    assert sweep(at=AT + timedelta(days=1)) == 0
    assert Message.objects.get().tries == 1


def test_b6_a_5yz_after_the_text_is_final_too(script: Script) -> None:
    script.accept = lambda server: "554 5.7.1 Not wanted"
    message = a_message()
    assert not send(message.pk, at=AT)
    assert state_of(message) == FAILED


def test_fault_15_mail_down_keeps_it_waiting_and_sends_it_later(
    settings: Settings, script: Script
) -> None:
    message = a_message()
    settings.EMAIL_PORT = free_port()
    assert not send(message.pk, at=AT)
    assert (state_of(message), Message.objects.get().problem) == (WAITING, "ConnectionRefusedError")
    settings.EMAIL_PORT = script.port
    assert sweep(at=AT + RETRY_AFTER[0]) == 1
    assert len(script.accepted) == 1


@pytest.mark.parametrize(
    "closed",
    [
        smtplib.SMTPAuthenticationError(535, b"5.7.8 Bad credentials"),
        smtplib.SMTPConnectError(554, b"No SMTP service here"),
    ],
    ids=["a wrong password", "turned away at the door"],
)
def test_what_is_wrong_with_the_programmes_account_fails_no_message(
    script: Script, monkeypatch: pytest.MonkeyPatch, closed: smtplib.SMTPResponseException
) -> None:
    """Else one mistyped password would mark every patient's address as bad."""
    messages = [a_message() for _ in range(2)]

    def refuse(*args: object) -> None:
        raise closed

    with monkeypatch.context() as patch:
        patch.setattr(smtplib.SMTP, "__init__", refuse)
        assert sweep(at=AT) == 0
    assert {state_of(m) for m in messages} == {WAITING}
    assert sweep(at=AT + RETRY_AFTER[0] + MINUTE) == 2


def test_a_server_that_never_answers_is_left_after_the_time_out(settings: Settings) -> None:
    message = a_message()
    with socket.create_server(("127.0.0.1", 0)) as deaf:
        settings.EMAIL_BACKEND = "education.mail_server.Backend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = deaf.getsockname()
        settings.EMAIL_TIMEOUT = 0.3
        assert not send(message.pk, at=AT)
    assert state_of(message) == WAITING


def test_a_sweep_uses_one_connection(script: Script) -> None:
    for _ in range(4):
        a_message()
    assert sweep(at=AT) == 4
    assert (len(script.accepted), script.connections) == (4, 1)


def test_a_connection_that_was_dropped_between_two_messages_is_opened_anew(
    script: Script, monkeypatch: pytest.MonkeyPatch
) -> None:
    def accept_and_hang_up(server: SMTP) -> str:
        server.loop.call_later(0.02, hang_up, server)
        return "250 OK"

    script.accept = accept_and_hang_up
    messages = [a_message() for _ in range(3)]

    def slowly(*args: Any, **kwargs: Any) -> EmailMultiAlternatives:
        a_moment()
        return email_of(*args, **kwargs)

    monkeypatch.setattr("education.by_email.email_of", slowly)
    assert sweep(at=AT) == 3
    assert [Message.objects.get(pk=m.pk).tries for m in messages] == [1, 1, 1]
    assert script.connections == 3


def hang_up(server: SMTP) -> None:
    """Close the connection without a word."""
    assert server.transport
    server.transport.close()


def a_moment() -> None:
    """Long enough for the server to hang up."""
    threading.Event().wait(0.15)


def test_a_server_that_hangs_up_after_the_text_is_never_sent_it_again_by_itself(
    script: Script,
) -> None:
    """It may have taken the message: RFC 1047 tells how duplicates come about."""

    def hang_up_and_answer(server: SMTP) -> str:
        hang_up(server)
        return "451 gone"

    script.accept = hang_up_and_answer
    message = a_message()
    assert not send(message.pk, at=AT)
    assert state_of(message) == AMBIGUOUS
    script.accept = lambda server: "250 OK"
    for hour in range(1, 24):
        assert sweep(at=AT + timedelta(hours=hour)) == 0
    assert not script.accepted


def test_a_server_that_hangs_up_before_the_text_is_tried_later(
    script: Script, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def hang_up_at_data(server: SMTP, argument: str) -> None:
        hang_up(server)

    message = a_message()
    with monkeypatch.context() as patch:
        patch.setattr(SMTP, "smtp_DATA", hang_up_at_data)
        assert not send(message.pk, at=AT)
    assert state_of(message) == WAITING
    assert send(message.pk, at=AT + RETRY_AFTER[0])


def test_a_server_that_does_not_answer_the_text_in_time_may_have_it(
    settings: Settings, script: Script
) -> None:
    def late(server: SMTP) -> str:
        a_moment()
        a_moment()
        return "250 OK"

    settings.EMAIL_TIMEOUT = 0.1
    script.accept = late
    message = a_message()
    assert not send(message.pk, at=AT)
    assert state_of(message) == AMBIGUOUS


def test_b3_a_message_that_cannot_be_made_parks_and_the_queue_behind_it_moves(
    script: Script, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken, good = a_message(), a_message(email="good@example.org")

    def make(message: Message, *args: Any, **kwargs: Any) -> Any:
        if message.pk == broken.pk:
            raise ZeroDivisionError
        return email_of(message, *args, **kwargs)

    monkeypatch.setattr("education.by_email.email_of", make)
    assert sweep(at=AT) == 1
    assert (state_of(broken), state_of(good)) == (WAITING, SENT)
    for hour in range(1, 24):
        sweep(at=AT + timedelta(hours=hour))
    assert (state_of(broken), Message.objects.get(pk=broken.pk).problem) == (
        FAILED,
        "ZeroDivisionError",
    )


def test_fault_28_an_address_corrected_after_queueing_withdraws_the_email(
    smtp_server: Mailbox,
) -> None:
    message = a_message(email="wrong@example.org")
    assert message.patient
    correct(message.patient, at=AT, source="call", email="right@example.org")
    assert not send(message.pk, at=AT)
    assert state_of(message) == WITHDRAWN
    assert smtp_server.received == []


def test_a_replaced_invitation_sends_only_the_new_one(smtp_server: Mailbox) -> None:
    message = a_message(email="one@example.org")
    assert message.invitation
    invite(message.invitation.assignment, at=AT)
    assert sweep(at=AT) == 1
    (one,) = smtp_server.received
    assert one.message["Message-ID"] != message.message_id
    assert state_of(message) == WITHDRAWN


def test_fault_11_nothing_goes_out_for_an_operation_that_was_cancelled(
    smtp_server: Mailbox,
) -> None:
    message = a_message()
    assert message.invitation
    change(message.invitation.assignment.operation, at=AT, booking="cancelled")
    assert sweep(at=AT) == 0
    assert state_of(message) == WITHDRAWN
    assert smtp_server.received == []


def test_an_expired_link_is_not_sent(smtp_server: Mailbox) -> None:
    message = a_message()
    assert not send(message.pk, at=AT + timedelta(days=60))
    assert state_of(message) == WITHDRAWN


# --- promise B1 -----------------------------------------------------------------------------------


def test_b1_handing_in_makes_no_network_call(monkeypatch: pytest.MonkeyPatch) -> None:
    message = a_message()
    assert message.invitation

    def refuse(*args: object) -> None:
        raise AssertionError("a network call")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket.socket, "connect_ex", refuse)
    monkeypatch.setattr(smtplib, "SMTP", refuse)
    assert take_quiz(message.invitation, "11111", at=AT).passed


@pytest.mark.django_db(transaction=True)
def test_b1_inviting_and_handing_in_succeed_while_the_broker_is_silent(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The broker's client hangs in the background; the acts are over long before."""
    asked: list[str] = []

    def hang(*args: object, **kwargs: object) -> None:
        asked.append("once")
        a_moment()
        raise OSError("no answer")

    monkeypatch.setattr("patients.wake.current_app.send_task", hang)
    message = a_message()
    assert message.invitation
    attempt = message.invitation.attempts.create(
        edition=a_short_edition(at=AT), number=1, recorded_at=AT
    )
    answer(attempt, "11111", at=AT)
    assert hand_in(attempt, at=AT).passed
    assert state_of(message) == WITHDRAWN, "cleared: the email that waits has nothing to ask for"
    assert not InvitationToken.objects.exists()
