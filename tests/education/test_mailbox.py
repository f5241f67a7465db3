"""The programme's mailbox over a real IMAP server: each mail once, and nothing lost (fault 24)."""

import socket
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from pytest_django import Settings

from education.mailbox import Taken, look
from education.models import AddressMark, MailboxLook, Message, MessageState, ReceivedMail
from education.rules.incoming_mail import MOST_BYTES, Kind
from education.send import sweep
from education.take_mail import take_mail
from patients.clock import now
from tests.education.rules.test_incoming_mail import nested
from tests.factories import an_invitation
from tests.imap_server import PASSWORD, TLS, USER, ImapServer, imap_server
from tests.servers import free_port
from tests.what_came_back import came_back, wrote_back

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(scope="module")
def imap() -> Iterator[ImapServer]:
    """One server for all tests of this file."""
    with imap_server() as server:
        yield server


@pytest.fixture
def mailbox(imap: ImapServer, settings: Settings) -> ImapServer:
    """The mailbox that is set, over STARTTLS."""
    settings.IMAP_HOST, settings.IMAP_PORT, settings.IMAP_TLS = "127.0.0.1", imap.port, "starttls"
    settings.IMAP_USER, settings.IMAP_PASSWORD = USER, PASSWORD
    settings.IMAP_CA = str(TLS / "ca.pem")
    return imap


def sent() -> Message:
    """An email to a patient that went out."""
    an_invitation()
    assert sweep(at=now()) == 1
    return Message.objects.get()


def test_each_mail_is_taken_once_and_moved_and_what_is_malicious_stops_nothing(
    mailbox: ImapServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    message, at = sent(), now()
    before = mailbox.count("Taken")
    mailbox.deliver(
        nested(100),
        b"Subject: big\n\n" + b"a" * (MOST_BYTES + 5_000),
        came_back(message, at=at),
        wrote_back(message, "Please call me on Thursday."),
    )
    assert look(at=at) == Taken(new=4)
    assert (mailbox.count("INBOX"), mailbox.count("Taken")) == (0, before + 4)
    kinds = list(ReceivedMail.objects.values_list("kind", flat=True))
    assert kinds == [Kind.UNREADABLE, Kind.ANSWER, Kind.REPORT, Kind.ANSWER]
    message.refresh_from_db()
    assert message.state == MessageState.FAILED
    assert AddressMark.objects.get().address == message.address
    answer = ReceivedMail.objects.latest("pk")
    assert (answer.message, answer.text) == (message, "Please call me on Thursday.")
    assert answer.taken_from.startswith("INBOX; UIDVALIDITY ")

    # Killed after the record and before the move: it is known again, and moved.
    def killed(*args: Any, **kwargs: Any) -> None:
        raise KeyboardInterrupt

    mailbox.deliver(wrote_back(message, "And on Friday?", subject="Once more"))
    with monkeypatch.context() as patch:
        patch.setattr("education.mailbox._set_aside", killed)
        with pytest.raises(KeyboardInterrupt):
            look(at=at)
    # Killed before the record: nothing is lost.
    with monkeypatch.context() as patch:
        patch.setattr("education.mailbox.take_mail", killed)
        with pytest.raises(KeyboardInterrupt):
            look(at=at)
    assert look(at=at) == Taken(known=1)
    assert (ReceivedMail.objects.count(), mailbox.count("INBOX")) == (5, 0)
    assert look(at=at) == Taken()


def test_two_readers_at_once_take_each_mail_once(mailbox: ImapServer) -> None:
    message = sent()
    mailbox.deliver(*(wrote_back(message, f"Answer {n}", subject=str(n)) for n in range(6)))

    def read(number: int) -> Taken | None:
        try:
            return look(at=now())
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as pool:
        found = list(pool.map(read, range(2)))
    assert sum(one.new for one in found if one) == 6
    assert ReceivedMail.objects.count() == 6
    look(at=now())
    assert mailbox.count("INBOX") == 0


def test_a_mailbox_that_cannot_be_read_is_noted_and_stops_nothing(
    mailbox: ImapServer, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    at = now()
    look(at=at)
    settings.IMAP_PASSWORD = "wrong"
    assert look(at=at + timedelta(minutes=1)) is None
    settings.IMAP_PASSWORD, settings.IMAP_CA = PASSWORD, ""
    assert look(at=at + timedelta(minutes=2)) is None, "whoever it is that answers, it is not ours"
    row = MailboxLook.objects.get()
    assert (row.read_at, row.problem) == (at, "SSLCertVerificationError")
    settings.IMAP_TLS, settings.IMAP_PORT = "none", free_port()
    assert look(at=at) is None
    monkeypatch.setattr("education.mailbox.TIMEOUT", 0.3)
    with socket.create_server(("127.0.0.1", 0)) as deaf:
        settings.IMAP_PORT = deaf.getsockname()[1]
        assert look(at=at) is None
    with pytest.raises(CommandError):
        call_command("read_mailbox", "--once")


def test_files_of_a_folder_are_taken_once_and_left_where_they_are(tmp_path: Path) -> None:
    message = sent()
    (tmp_path / "1.eml").write_bytes(came_back(message, at=now()))
    (tmp_path / "other.txt").write_text("no mail")
    for said in ("1 taken, 0 known already.", "0 taken, 1 known already."):
        out = StringIO()
        call_command("read_mailbox", "--folder", str(tmp_path), stdout=out)
        assert out.getvalue().strip() == said
    assert ReceivedMail.objects.get().taken_from == "1.eml"
    assert take_mail(came_back(message, at=now(), number=2), taken_from="x", at=now())
    assert AddressMark.objects.count() == 1, "it comes back twice and is marked once"
