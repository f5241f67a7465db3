"""Talk to the mail server, and know whether it may have taken a message when the talk breaks off.

A connection that breaks after the whole text was handed over, and before the answer to it, leaves
it open whether the server took it (RFC 1047; RFC 5321, section 4.5.3.2.6). Sent again, it might
arrive twice. Whatever breaks before that was surely not taken.
"""

import smtplib
from collections.abc import Sequence
from typing import Any

from django.core.mail import EmailMultiAlternatives
from django.core.mail.backends.smtp import EmailBackend

from education.email_text import as_sent, is_plain, on_envelope

START_OF_TEXT = 354  # "start mail input": what is answered next is the whole text


class MaybeAccepted(smtplib.SMTPException):
    """Nobody can say whether the mail server took the message."""


class _Watched(smtplib.SMTP):
    text_handed_over = False

    def getreply(self) -> tuple[int, bytes]:
        """Read the server's answer; raises MaybeAccepted if none comes to a whole text."""
        try:
            code, text = super().getreply()
        except OSError as broken:  # smtplib's own exceptions are OSErrors too
            if self.text_handed_over:
                raise MaybeAccepted from broken
            raise
        self.text_handed_over = code == START_OF_TEXT
        return code, text

    def mail(self, sender: str, options: Sequence[str] = ()) -> tuple[int, bytes]:
        """Say who sends it."""
        if not is_plain(sender) or "smtputf8" in map(str.lower, options):
            return super().mail(sender, options)
        self.putcmd("mail", f"FROM:<{sender}>{self._listed(options)}")
        return self.getreply()

    def rcpt(self, recip: str, options: Sequence[str] = ()) -> tuple[int, bytes]:
        """Say who gets it. Of most addresses the library need not look for a name in them."""
        if not is_plain(recip):
            return super().rcpt(recip, options)
        self.putcmd("rcpt", f"TO:<{recip}>{self._listed(options)}")
        return self.getreply()

    def _listed(self, options: Sequence[str]) -> str:
        return "".join(f" {option}" for option in options) if self.does_esmtp else ""


class _WatchedTLS(_Watched, smtplib.SMTP_SSL):
    """The same over TLS from the first byte."""


class Backend(EmailBackend):
    """Django's SMTP back end over a connection that knows how far a message came."""

    @property
    def connection_class(self) -> Any:
        """The class of the connection, by the same setting as Django's."""
        return _WatchedTLS if self.use_ssl else _Watched

    def _send(self, email_message: EmailMultiAlternatives) -> bool:
        """Django's, with the text as it lies ready; what the server answers is raised."""
        recipients = on_envelope(email_message.recipients())
        if not recipients:
            return False
        (sender,) = on_envelope([email_message.from_email])
        server: Any = self.connection
        server.sendmail(sender, recipients, as_sent(email_message))
        return True
