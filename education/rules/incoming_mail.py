"""What is a mail that came to the programme's mailbox: a delivery report, a mail that came back
without one, a complaint, a machine's answer, or somebody's?

Told apart by RFC 3464 (reports), RFC 5965 (complaints) and RFC 3834 (automatic answers). Whatever
is in doubt is taken for somebody's answer: a person looks at it, and nothing follows by itself.
"""

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from email.message import Message
from email.parser import BytesHeaderParser, BytesParser
from email.utils import parseaddr
from enum import StrEnum

from education.rules.delivery import Told, class_of, status_in
from education.rules.delivery_report import (
    ID,
    RETURNED,
    STATUS_PARTS,
    Recipient,
    instant,
    recipients,
    returned_ids,
)
from education.rules.mail_text import LONGEST_TEXT, body, clean, header, written_anew

MOST_PARTS = 60
MOST_OF_HEADERS = 200_000  # bytes
MOST_BYTES = 1_000_000  # of a mail that are read: the words come first, what is attached last
LONGEST_ADDRESS = 254  # RFC 5321, section 4.5.3.1
LONGEST_SUBJECT = 200
MOST_IDS = 20

_PART = re.compile(rb"^content-type\s*:", re.IGNORECASE | re.MULTILINE)
_MESSAGE_ID = re.compile(rb"^message-id\s*:(.*(?:\n[ \t].*)*)", re.IGNORECASE | re.MULTILINE)
_EMPTY_LINE = re.compile(rb"\r?\n\r?\n")
_SYSTEM = re.compile(r"^(?:mailer-daemon|mail-daemon|postmaster)@", re.IGNORECASE)
_CAME_BACK = re.compile(
    r"undeliver|not be delivered|delivery (?:status|fail|has failed|incomplete|delayed)|"
    r"returned (?:mail|to sender)|failure notice|mail delivery|no se (?:pudo|ha podido) entregar",
    re.IGNORECASE,
)
_HINTS = ("List-Id", "X-Autoreply", "X-Autorespond")
_PRECEDENCES = {"auto_reply", "bulk", "junk", "list"}


class Kind(StrEnum):
    REPORT = "report"
    BOUNCE = "bounce"  # it came back without a report that a machine can read
    COMPLAINT = "complaint"
    AUTOMATIC = "automatic"
    ANSWER = "answer"
    UNREADABLE = "unreadable"


@dataclass(frozen=True)
class Incoming:
    """One mail; `about`: the Message-IDs of emails that it tells of, or answers.

    `text`: what somebody wrote, of an answer alone. `problem`: why it cannot be read.
    """

    kind: Kind
    message_id: str = ""
    from_address: str = ""
    subject: str = ""
    sent_at: datetime | None = None
    about: tuple[str, ...] = ()
    recipients: tuple[Recipient, ...] = ()
    text: str = ""
    problem: str = ""


def read(raw: bytes) -> Incoming:
    """Read a mail, of which no more than MOST_BYTES are looked at. Never raises."""
    raw = raw[:MOST_BYTES]
    if len(_head(raw)) > MOST_OF_HEADERS:
        return Incoming(Kind.UNREADABLE, problem=f"more than {MOST_OF_HEADERS} bytes of headers")
    try:
        known = _outside(BytesHeaderParser().parsebytes(raw))
    except Exception as broken:  # whatever somebody sends, the mails behind it are read
        return Incoming(Kind.UNREADABLE, problem=f"its headers: {type(broken).__name__}")
    if len(_PART.findall(raw)) > MOST_PARTS:
        return replace(known, problem=f"more than {MOST_PARTS} parts")
    try:
        return _inside(BytesParser().parsebytes(raw), known)
    except Exception as broken:
        return replace(known, problem=type(broken).__name__)


def key_of(raw: bytes) -> str:
    """Return by what the same mail is known again, also where it came by another way.

    Its Message-ID and everything below its headers; without a Message-ID all of it. The
    Message-ID alone would let a forged one hide somebody's answer.
    """
    raw = raw[:MOST_BYTES]
    head, _, rest = raw.replace(b"\r\n", b"\n").partition(b"\n\n")
    named = _MESSAGE_ID.search(head)
    same = named[1].strip() + b"\n" + rest if named else raw
    return hashlib.sha256(same).hexdigest()


def _head(raw: bytes) -> bytes:
    end = _EMPTY_LINE.search(raw)
    return raw[: end.start()] if end else raw


def _outside(mail: Message) -> Incoming:
    """Return what the headers say; unreadable until its parts were read."""
    address = parseaddr(header(mail, "From"))[1].lower()
    return Incoming(
        Kind.UNREADABLE,
        message_id=clean(header(mail, "Message-ID"), 250),
        from_address=clean(address, LONGEST_ADDRESS),
        subject=clean(header(mail, "Subject"), LONGEST_SUBJECT),
        sent_at=instant(header(mail, "Date")),
    )


def _inside(mail: Message, known: Incoming) -> Incoming:
    parts = _children(mail)
    report_type = str(mail.get_param("report-type") or "").lower()
    told = tuple(
        one for part in parts if part.get_content_type() in STATUS_PARTS for one in recipients(part)
    )
    if told:
        return replace(known, kind=Kind.REPORT, about=returned_ids(parts), recipients=told)
    if report_type == "feedback-report":
        kind = Kind.COMPLAINT if _complains(parts) else Kind.AUTOMATIC
        return replace(known, kind=kind, about=returned_ids(parts))
    if report_type != "disposition-notification" and _came_back(mail, known):
        return _bounce(mail, parts, known)
    about = _answers(mail)
    if report_type or _automatic(mail):
        return replace(known, kind=Kind.AUTOMATIC, about=about)
    return replace(known, kind=Kind.ANSWER, about=about, text=_written(mail))


def _children(mail: Message) -> list[Message]:
    """The parts of the mail itself, not those of a mail inside it."""
    payload = mail.get_payload()
    return [one for one in payload if isinstance(one, Message)] if mail.is_multipart() else []


def _complains(parts: list[Message]) -> bool:
    """Whether a feedback report says that a reader did not want it (RFC 5965, section 3.1)."""
    for part in parts:
        if part.get_content_type() == "message/feedback-report":
            said = "\n".join(map(str, part.get_payload()))
            return re.search(r"^feedback-type:\s*not-spam", said, re.I | re.M) is None
    return False


def _came_back(mail: Message, known: Incoming) -> bool:
    from_system = _SYSTEM.match(known.from_address) or header(mail, "Return-Path") == "<>"
    if not from_system:
        return False
    return "X-Failed-Recipients" in mail or _CAME_BACK.search(known.subject) is not None


def _bounce(mail: Message, parts: list[Message], known: Incoming) -> Incoming:
    """Read what a mail says that came back without a report: a status and an email of ours."""
    text = "\n".join(body(part) for part in _texts(mail))
    about = returned_ids(parts) or tuple(dict.fromkeys(ID.findall(text)))[:MOST_IDS]
    status = status_in(f"{known.subject}\n{text}")
    address = clean(header(mail, "X-Failed-Recipients").partition(",")[0], LONGEST_ADDRESS)
    told: tuple[Recipient, ...] = ()
    if class_of(status) in (4, 5):
        kind = Told.BOUNCED if class_of(status) == 5 else Told.DELAYED
        told = (Recipient(address, "", kind, status),)
    return replace(known, kind=Kind.BOUNCE, about=about, recipients=told)


def _automatic(mail: Message) -> bool:
    """Whether nobody wrote it (RFC 3834, section 5, and what was usual before)."""
    submitted = header(mail, "Auto-Submitted").partition(";")[0].strip().lower()
    if submitted:
        return submitted != "no"
    return (
        any(name in mail for name in _HINTS)
        or header(mail, "Precedence").lower() in _PRECEDENCES
        or header(mail, "Return-Path") == "<>"
    )


def _answers(mail: Message) -> tuple[str, ...]:
    """The emails that it answers, the one it answers first (RFC 5322, section 3.6.4)."""
    found = ID.findall(header(mail, "In-Reply-To"))
    found += reversed(ID.findall(header(mail, "References")))
    return tuple(dict.fromkeys(found))[:MOST_IDS]


def _written(mail: Message) -> str:
    texts = list(_texts(mail))
    plain = [part for part in texts if part.get_content_type() == "text/plain"]
    for part in plain + texts:
        said = written_anew(body(part))
        if said:
            return clean(said, LONGEST_TEXT)
    return ""


def _texts(mail: Message) -> Iterator[Message]:
    """The parts with words, not those that are attached or come back."""
    kind = mail.get_content_type()
    if kind in RETURNED or mail.get_content_disposition() == "attachment":
        return
    if kind in ("text/plain", "text/html"):
        yield mail
    for part in _children(mail):
        yield from _texts(part)
