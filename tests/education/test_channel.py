"""The contract of a channel (education/channel.py): a new one is added to CHANNELS, and passes.

Reply classes: RFC 5321, section 4.2.1 (4yz for now, 5yz for good); what nobody can know: RFC 1047.
"""

import smtplib
from collections.abc import Callable, Sequence

import pytest
from django.core.mail.backends.base import BaseEmailBackend
from django.core.mail.message import EmailMessage

from education.by_email import ByEmail
from education.channel import Channel, HandedOver, Outcome
from education.mail_server import MaybeAccepted
from education.models import Message
from patients.clock import now
from tests.factories import an_invitation

pytestmark = pytest.mark.django_db

Situation = tuple[str, Outcome, bool]  # what happens, the outcome, whether the address is bad
SITUATIONS: list[Situation] = [
    ("taken", Outcome.TAKEN, False),
    ("busy", Outcome.LATER, False),
    ("we are turned away", Outcome.LATER, False),
    ("unreachable", Outcome.LATER, False),
    ("no such mailbox", Outcome.REFUSED, True),
    ("the text is refused", Outcome.REFUSED, False),
    ("no answer to the text", Outcome.UNKNOWN, False),
]


class MailServer(BaseEmailBackend):
    """A mail server in a situation."""

    raises: dict[str, Exception] = {
        "busy": smtplib.SMTPRecipientsRefused({"a@b": (450, b"try again")}),
        "we are turned away": smtplib.SMTPAuthenticationError(535, b"bad credentials"),
        "unreachable": ConnectionRefusedError("no route to a@b"),
        "no such mailbox": smtplib.SMTPRecipientsRefused({"a@b": (550, b"no a@b")}),
        "the text is refused": smtplib.SMTPDataError(554, b"not wanted"),
        "no answer to the text": MaybeAccepted(),
    }

    def __init__(self, situation: str) -> None:
        super().__init__()
        self.situation = situation
        self.sent: list[str] = []

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        """Take them, or fail as the situation has it."""
        if self.situation in self.raises:
            raise self.raises[self.situation]
        self.sent += [one.extra_headers["Message-ID"] for one in email_messages]
        return len(email_messages)


def by_email(situation: str) -> tuple[Channel, Callable[[], list[str]]]:
    """The channel of emails, and how to ask what was taken."""
    server = MailServer(situation)
    return ByEmail(server), lambda: server.sent


CHANNELS = {"email": by_email}


@pytest.mark.parametrize("name", CHANNELS)
def test_the_contract_of_a_channel(name: str) -> None:
    an_invitation()
    message = Message.objects.get()
    for situation, outcome, bad_address in SITUATIONS:
        channel, taken = CHANNELS[name](situation)
        try:
            told = channel.send(message, at=now())
        except Exception:
            told = HandedOver(Outcome.LATER)  # as the sender takes it
        assert (told.outcome, told.bad_address) == (outcome, bad_address), situation
        assert taken() == ([message.message_id] if outcome == Outcome.TAKEN else []), situation
        assert "@" not in told.problem, "staff's words for it name no address"
        channel.close()
        channel.close()  # closing what is closed does nothing
        message.refresh_from_db()
        assert message.state == "waiting", "a channel changes no row: the sender does"
