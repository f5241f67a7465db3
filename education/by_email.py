"""The channel that sends emails over a mail server (RFC 5321)."""

import smtplib
from datetime import datetime

from django.core.mail import EmailMultiAlternatives, get_connection
from django.core.mail.backends.base import BaseEmailBackend

from education.channel import HandedOver, Outcome
from education.emails import WITHOUT_LINK, Kept, email_of
from education.mail_server import MaybeAccepted
from education.models import AnswerLink, Message
from education.personal_link import issue_token
from education.rules.delivery import status_in

# These turn the programme away (a wrong password, say), whatever the message: never final for it.
PROGRAMME_REFUSED = (
    smtplib.SMTPAuthenticationError,
    smtplib.SMTPConnectError,
    smtplib.SMTPHeloError,
)


class ByEmail:
    """Sends each message as an email; the connection stays open between two of them.

    Words that the programme changes meanwhile go out from the next channel on: after a minute.
    """

    def __init__(self, connection: BaseEmailBackend | None = None) -> None:
        self.connection = connection or get_connection()
        self.words = Kept()

    def send(self, message: Message, *, at: datetime) -> HandedOver:
        """Make the email and hand it over."""
        try:
            return self._send(message, at=at)
        except BaseException:
            self.close()  # a broken connection is opened anew for the next message
            raise

    def close(self) -> None:
        """Hang up."""
        self.connection.close()

    def _send(self, message: Message, *, at: datetime) -> HandedOver:
        try:
            self._deliver(message, at=at)
        except smtplib.SMTPRecipientsRefused as refused:
            code, said = max(refused.recipients.values(), default=(550, b""))
            status = status_in(said.decode(errors="replace"))
            handed_over = _refused(code, bad_address=code >= 500, status=status)
        except PROGRAMME_REFUSED as closed:
            handed_over = HandedOver(Outcome.LATER, f"mail server answered {closed.smtp_code}")
        except smtplib.SMTPResponseException as answered:
            handed_over = _refused(answered.smtp_code)
        except MaybeAccepted as broken:
            cause = type(broken.__cause__).__name__
            handed_over = HandedOver(Outcome.UNKNOWN, f"no answer to the text ({cause})")
        else:
            return HandedOver(Outcome.TAKEN)
        self.close()
        return handed_over

    def _deliver(self, message: Message, *, at: datetime) -> None:
        """A connection that the server dropped since the message before is opened anew, once."""
        email = made(message, at=at, words=self.words, connection=self.connection)
        # False says that it was open before.
        used_before = self.connection.open() is False
        try:
            email.send()
        except smtplib.SMTPServerDisconnected:
            if not used_before:
                raise
            self.connection.close()
            self.connection.open()
            email.send()


def made(
    message: Message, *, at: datetime, words: Kept, connection: BaseEmailBackend
) -> EmailMultiAlternatives:
    """Return the email of a message; the token of its link is made here, and kept nowhere."""
    answer_link: AnswerLink | None = getattr(message, "answer_link", None)
    link = message.invitation or message.reminds or message.plan_link or answer_link
    if link is not None:
        token = issue_token(link, at=at)
        return email_of(message, token, words=words, connection=connection)
    if message.purpose not in WITHOUT_LINK:
        raise ValueError(f"message {message.pk} has no email for its purpose")
    return WITHOUT_LINK[message.purpose](message, connection=connection)


def _refused(code: int, *, bad_address: bool = False, status: str = "") -> HandedOver:
    """5yz is final; 4yz is for later (RFC 5321, section 4.2.1)."""
    if code >= 500:
        said = f"refused by the mail server ({code})"
        return HandedOver(Outcome.REFUSED, said, bad_address=bad_address, status=status)
    return HandedOver(Outcome.LATER, f"mail server answered {code}")
