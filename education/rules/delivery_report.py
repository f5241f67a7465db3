"""What does a delivery status notification say (RFC 3464), and of which email?

In such a mail one part has a block of fields for the whole message and one for each recipient;
another part has the email that it is about, or its headers.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from email.message import Message
from email.parser import HeaderParser
from email.utils import parsedate_to_datetime

from education.rules.delivery import Told, kind_of, more_exact
from education.rules.mail_text import clean

STATUS_PARTS = ("message/delivery-status", "message/global-delivery-status")  # RFC 6533
RETURNED = (
    "message/rfc822",
    "message/global",
    "text/rfc822-headers",
    "message/rfc822-headers",
    "message/global-headers",
)
LONGEST_SAID = 300
MOST_RECIPIENTS = 50
_BLANK_LINE = re.compile(r"\n[ \t]*\n")
ID = re.compile(r"<[^<>\s@]{1,120}@[^<>\s]{1,120}>")


@dataclass(frozen=True)
class Recipient:
    """What is told of one recipient; `at`: when it was tried last, None if it is not said."""

    address: str
    original: str
    kind: Told
    status: str
    said: str = ""
    at: datetime | None = None


def recipients(part: Message) -> tuple[Recipient, ...]:
    """Return what a part with delivery statuses says of each recipient, in its order."""
    found = (_recipient(block) for block in _blocks(part))
    return tuple(one for one in found if one is not None)[:MOST_RECIPIENTS]


def returned_ids(parts: list[Message]) -> tuple[str, ...]:
    """Return the Message-IDs of the emails that come back as parts, or whose headers do."""
    found = []
    for part in parts:
        if part.get_content_type() not in RETURNED:
            continue
        for one in _headers_of(part):
            found += ID.findall(str(one.get("Message-ID", ""))[:1000])
    return tuple(dict.fromkeys(found))


def instant(text: str) -> datetime | None:
    """Return the instant of a date (RFC 5322, section 3.3), in UTC; None if it is none."""
    try:
        parsed = parsedate_to_datetime(text[:100])
        return (parsed if parsed.tzinfo else parsed.replace(tzinfo=UTC)).astimezone(UTC)
    except (ValueError, TypeError, OverflowError, IndexError):
        return None


def _recipient(block: Message) -> Recipient | None:
    said = _value(block, "Diagnostic-Code")
    status = more_exact(str(block.get("Status", "")), said)
    kind = kind_of(str(block.get("Action", "")), status)
    address, original = _value(block, "Final-Recipient"), _value(block, "Original-Recipient")
    if kind is None or not (address or original):
        return None
    return Recipient(
        address=address,
        original=original,
        kind=kind,
        status=status,
        said=clean(said, LONGEST_SAID),
        at=instant(str(block.get("Last-Attempt-Date", ""))),
    )


def _value(block: Message, name: str) -> str:
    """Return what stands behind the type: "rfc822; reader@example.org" says the address."""
    _, semicolon, value = str(block.get(name, "")).partition(";")
    return " ".join(clean(value, LONGEST_SAID).split()).strip("<>") if semicolon else ""


def _blocks(part: Message) -> Iterator[Message]:
    payload = part.get_payload()
    text = "\n".join(map(str, payload)) if isinstance(payload, list) else str(payload)
    for block in _BLANK_LINE.split(text.replace("\r\n", "\n")):
        if block.strip():
            yield HeaderParser().parsestr(block.strip("\n"))


def _headers_of(part: Message) -> Iterator[Message]:
    payload = part.get_payload()
    if isinstance(payload, list):
        yield from (one for one in payload if isinstance(one, Message))
    elif isinstance(payload, str):
        yield HeaderParser().parsestr(payload.lstrip())
