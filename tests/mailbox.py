"""A real SMTP server in the test's process, and what it received."""

import email
import email.policy
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email.message import EmailMessage

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

from tests.servers import free_port


@dataclass(frozen=True)
class Received:
    """One message as the server took it: the envelope, the bytes, and what a parser makes of it.

    The parser is the standard library's (RFC 5322), not ours.
    """

    sender: str
    recipients: list[str]
    raw: bytes

    @property
    def message(self) -> EmailMessage:
        """The parsed message."""
        parsed = email.message_from_bytes(self.raw, policy=email.policy.default)
        assert isinstance(parsed, EmailMessage)
        return parsed

    @property
    def text(self) -> str:
        """The plain-text part, decoded; "" if there is none."""
        part = self.message.get_body(("plain",))
        return str(part.get_content()) if part is not None else ""


@dataclass
class Mailbox:
    """Everything that the server received, in order, and where it listens."""

    host: str
    port: int
    received: list[Received] = field(default_factory=list)

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802
        """Called by aiosmtpd for each message."""
        content = envelope.content
        raw = content if isinstance(content, bytes) else str(content).encode()
        self.received.append(Received(envelope.mail_from or "", list(envelope.rcpt_tos), raw))
        return "250 Message accepted"

    def to(self, address: str) -> list[Received]:
        """The messages for one recipient, in order."""
        return [one for one in self.received if address in one.recipients]

    def wait_for(self, address: str, count: int = 1, seconds: float = 30.0) -> list[Received]:
        """The messages for one recipient, as soon as there are `count`; AssertionError if late."""
        deadline = time.monotonic() + seconds
        while len(self.to(address)) < count:
            assert time.monotonic() < deadline, (
                f"{len(self.to(address))} of {count} messages for {address} after {seconds} s"
            )
            time.sleep(0.05)
        return self.to(address)


@contextmanager
def smtp_server() -> Iterator[Mailbox]:
    """A mail server on a free loopback port; takes everything and keeps it."""
    mailbox = Mailbox("127.0.0.1", free_port())
    controller = Controller(mailbox, hostname=mailbox.host, port=mailbox.port)
    controller.start()
    try:
        yield mailbox
    finally:
        controller.stop()
