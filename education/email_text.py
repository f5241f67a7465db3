"""The text of an email as a mail server takes it (RFC 5322, RFC 2045).

Emails of one kind and language differ in the token of their link, the address, the Message-ID and
the date alone. To put a text together takes longer than to hand it over, so it is done once, and
filled in for each.
"""

import re
import secrets
from collections.abc import Sequence
from email.utils import formatdate, parseaddr
from functools import lru_cache
from typing import Any

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.core.mail.message import sanitize_address

# What nobody writes in another form: dots between words of plain characters, a host of plain
# labels (RFC 5321, section 4.1.2, and much less), and short enough for one line of a header.
_ATOMS = r"[A-Za-z0-9_+-]+(?:\.[A-Za-z0-9_+-]+)*"
_PLAIN = re.compile(rf"(?=.{{3,60}}\Z){_ATOMS}@[A-Za-z0-9-]+(?:\.[A-Za-z0-9-]+)*")


class Email(EmailMultiAlternatives):
    """An email of ours, with a Message-ID.

    What parts the text from the HTML is named here: to find such a name takes the library long,
    and nothing like a Message-ID of ours stands in a text.
    """

    filled_in: bytes | None = None

    def message(self, **how: Any) -> Any:
        """The email as it is sent (RFC 2046, section 5.1.1: at most 70 characters)."""
        made = super().message(**how)
        made.set_boundary(_boundary(self.extra_headers["Message-ID"]))
        return made


class Ready:
    """The text of emails that have the same words but for a token, ready to be filled in."""

    def __init__(self, subject: str, text: str, html: str, *, place: str) -> None:
        """`place`: what stands in the words where the token goes."""
        to, ours, day = (secrets.token_hex(16) for _ in range(3))
        email = Email(
            subject=subject,
            body=text,
            from_email=settings.MAIL_FROM,
            to=[f"{to}@to.invalid"],
            headers={"Message-ID": f"<{ours}@id.invalid>", "Date": day},
        )
        email.attach_alternative(html, "text/html")
        made = email.message().as_bytes(linesep="\r\n")
        places = [f"{to}@to.invalid", f"<{ours}@id.invalid>", ours, day, place]
        either = b"|".join(re.escape(one.encode()) for one in places)
        self._pieces: list[bytes] = re.split(b"(" + either + b")", made)
        self._number = {one.encode(): number for number, one in enumerate(places)}
        found = [self._number[piece] for piece in self._pieces[1::2]]
        # A place that an encoding broke up is not found; then each text is put together anew.
        in_words = text.count(place) + html.count(place)
        self._usable = sorted(found) == sorted([0, 1, *[2] * 4, 3, *[4] * in_words])

    def filled_in(self, email: Email, token: str) -> bytes | None:
        """Return the text of an email with these words; None if it has to be put together."""
        (to,), message_id = email.to, email.extra_headers["Message-ID"]
        if not (self._usable and is_plain(to) and is_plain(message_id[1:-1])):
            return None
        day = formatdate(localtime=settings.EMAIL_USE_LOCALTIME)
        values = [to, message_id, _boundary(message_id), day, token]
        sent = [value.encode() for value in values]
        pieces = self._pieces.copy()
        pieces[1::2] = [sent[self._number[place]] for place in pieces[1::2]]
        return b"".join(pieces)


def _boundary(message_id: str) -> str:
    return message_id.strip("<>").partition("@")[0][:70]


def as_sent(email: EmailMultiAlternatives) -> bytes:
    """Return the text with the ends of lines that a mail server wants."""
    if isinstance(email, Email) and email.filled_in is not None:
        return email.filled_in
    message: Any = email.message()
    made: bytes = message.as_bytes(linesep="\r\n")
    return made


def is_plain(address: str) -> bool:
    """Whether an address is written in one way alone, so that nothing has to be read out of it."""
    return _PLAIN.fullmatch(address) is not None


def on_envelope(addresses: Sequence[str]) -> list[str]:
    """Return addresses as the mail server is told them, without names."""
    return [one if is_plain(one) else _sanitized(one) for one in addresses]


@lru_cache(maxsize=64)
def _sanitized(address: str) -> str:
    return parseaddr(sanitize_address(address, "utf-8"))[1]
