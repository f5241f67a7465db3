"""What is answered to an HL7 v2 message?  AA, AE or AR, and never a patient's fact.

AA: it was taken, or kept for a person. AE: it cannot be read, or could not be kept; sent again it
may be. AR: it is no message for us. Acknowledgement: HL7 2.5 chapter 2, section 2.9.2; table 0008
(codes), table 0357 (error conditions), ERR by the version of the message (2.5 gave it new fields).

A message that fills MSH-15 or MSH-16 asks for the enhanced mode (section 2.9.3): first whether it
is kept safely (CA, CE, CR), then what came of it, each only on the condition that it names (table
0155). An empty one of the two is read as "never"; a word that is not in the table as "always".
"""

from collections.abc import Sequence
from datetime import datetime
from enum import StrEnum
from typing import NamedTuple

from patients.rules.hl7_text import HEADER
from patients.rules.message_reading import MessageRefusal
from patients.rules.schedule_reasons import Problem, Reason


class Code(StrEnum):
    """Table 0008."""

    ACCEPTED = "AA"
    ERROR = "AE"
    REJECTED = "AR"
    COMMIT_ACCEPTED = "CA"
    COMMIT_ERROR = "CE"
    COMMIT_REJECTED = "CR"


class Condition(StrEnum):
    """Table 0155: when an acknowledgement is asked for."""

    ALWAYS = "AL"
    NEVER = "NE"
    ON_ERROR = "ER"
    ON_SUCCESS = "SU"

    def holds(self, *, successful: bool) -> bool:
        """Say whether the acknowledgement is asked for after this outcome."""
        return self == Condition.ALWAYS or self == (
            Condition.ON_SUCCESS if successful else Condition.ON_ERROR
        )


class Asked(NamedTuple):
    """What the enhanced mode asks for: MSH-15 and MSH-16."""

    accept: Condition
    application: Condition


class Fault(NamedTuple):
    """One thing that is wrong: where, and the code and text of table 0357."""

    where: str
    code: int
    text: str


INTERNAL = Fault("", 207, "Application internal error")
DUPLICATE = Fault("MSH-10", 205, "Duplicate key identifier")
_MISSING = (101, "Required field missing")
_DATA = (102, "Data type error")
_SEQUENCE = (100, "Segment sequence error")

REFUSALS: dict[MessageRefusal, tuple[Code, int, str]] = {
    MessageRefusal.TOO_LONG: (Code.REJECTED, 102, "Message too long"),
    MessageRefusal.NOT_A_MESSAGE: (Code.ERROR, *_SEQUENCE),
    MessageRefusal.NO_CONTROL_ID: (Code.ERROR, *_MISSING),
    MessageRefusal.CHARACTER_SET: (Code.ERROR, 102, "Character set not readable"),
    MessageRefusal.WRONG_TYPE: (Code.REJECTED, 200, "Unsupported message type"),
    MessageRefusal.WRONG_EVENT: (Code.REJECTED, 201, "Unsupported event code"),
    MessageRefusal.WRONG_VERSION: (Code.REJECTED, 203, "Unsupported version id"),
    MessageRefusal.NOT_PRODUCTION: (Code.REJECTED, 202, "Unsupported processing id"),
    MessageRefusal.COUNT_DIFFERS: (Code.ERROR, *_SEQUENCE),
}


def of_refusal(refusal: MessageRefusal, where: str) -> tuple[Code, Fault]:
    """Return what is answered to what is no schedule message."""
    code, number, text = REFUSALS[refusal]
    return code, Fault(where, number, text)


def of_problems(problems: Sequence[Problem]) -> tuple[Fault, ...]:
    """Return the faults of a message whose facts cannot be read: places, and no facts."""
    return tuple(
        Fault(str(one.column), *(_MISSING if one.reason == Reason.MISSING else _DATA))
        for one in problems
    )


def asked_for(content: bytes) -> Asked | None:
    """Return what a message asks for in the enhanced mode; None: the original mode, one answer."""
    _, _, fields = _header(content)
    if not fields[14] and not fields[15]:
        return None
    return Asked(_condition(fields[14]), _condition(fields[15]))


def commit_code(code: Code, *, kept: bool) -> Code:
    """Return what is answered first in the enhanced mode: whether the message is kept safely."""
    if kept:
        return Code.COMMIT_ACCEPTED
    return Code.COMMIT_REJECTED if code == Code.REJECTED else Code.COMMIT_ERROR


def _condition(written: str) -> Condition:
    if not written:
        return Condition.NEVER
    return Condition(written) if written in set(Condition) else Condition.ALWAYS


def _header(content: bytes) -> tuple[str, str, list[str]]:
    """Return separator, signs and fields of what may be a message; MSH-15 is the fields' [14]."""
    first = content.lstrip(b"\xef\xbb\xbf\x0b\r\n ").split(b"\r")[0].split(b"\n")[0][:2000]
    line = first.decode("latin-1")
    header = HEADER.match(line)
    separator, signs = (header[1], header[2]) if header else ("|", "^~\\&")
    fields = line.split(separator) if header else []
    return separator, signs, fields + [""] * (20 - len(fields))


def acknowledge(
    content: bytes,
    code: Code,
    faults: Sequence[Fault] = (),
    *,
    at: datetime,
    own_id: str,
    unanswered: bool = False,
) -> bytes:
    """Return the acknowledgement of a message, in its own delimiters and with its own control id.

    `content` may be anything: of what is no message, only that much can be said. `unanswered`: it
    says itself, in MSH-15 and MSH-16, that it wants no answer (the enhanced mode's second one).
    """
    separator, signs, fields = _header(content)
    trigger = _first(fields[8], signs, 1)
    version = _first(fields[11], signs, 0) or "2.5.1"
    sent = at.strftime("%Y%m%d%H%M%S%z")
    kind = signs[0].join(filter(None, ("ACK", trigger)))
    msh = [fields[4], fields[5], fields[2], fields[3], sent, "", kind, own_id, fields[10] or "P"]
    msh += [version, "", "", Condition.NEVER, Condition.NEVER] if unanswered else [version]
    segments = [
        separator.join([f"MSH{separator}{signs}", *map(_echoed, msh)]),
        separator.join(["MSA", code, _echoed(fields[9]), faults[0].text if faults else ""]).rstrip(
            separator
        ),
        *(_err(fault, code, separator, signs, version) for fault in faults),
    ]
    return ("\r".join(segments) + "\r").encode("latin-1")


def _err(fault: Fault, code: Code, separator: str, signs: str, version: str) -> str:
    segment, _, field = fault.where.partition("-")
    number, _, component = field.partition(".")
    place = [segment, "1", number, "1", component] if segment.isalnum() and number else []
    at = signs[0].join(place).rstrip(signs[0])
    named = [str(fault.code), fault.text, "HL70357"]
    if version in ("2.1", "2.2", "2.3", "2.3.1", "2.4"):
        parts = signs[3] if len(signs) > 3 else "&"
        old = [segment, "1", number, parts.join(named)] if place else ["", "", "", named[0]]
        return separator.join(["ERR", signs[0].join(old)])
    severity = "E" if code not in (Code.ACCEPTED, Code.COMMIT_ACCEPTED) else "W"
    return separator.join(["ERR", "", at, signs[0].join(named), severity])


def _first(field: str, signs: str, component: int) -> str:
    parts = field.split(signs[0])
    return parts[component] if component < len(parts) else ""


def _echoed(text: str) -> str:
    """What the sender wrote, byte for byte, but for control characters."""
    return "".join(char if char >= " " and char != "\x7f" else "?" for char in text)[:200]
