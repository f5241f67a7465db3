"""Take in one HL7 v2 message and say what is answered to it."""

import secrets
from dataclasses import dataclass
from datetime import datetime

from patients.intake import Conflict, Taken, take
from patients.models import Step
from patients.rules.message_formats import MessageFormat
from patients.rules.message_reading import MessageRefusal, NotTaken
from patients.rules.schedule_reasons import Problem, Reason
from patients.rules.siu_ack import (
    DUPLICATE,
    INTERNAL,
    Code,
    Fault,
    acknowledge,
    of_problems,
    of_refusal,
)


@dataclass(frozen=True)
class Answered:
    """The answer, and a word for the log that tells of nobody."""

    code: Code
    acknowledgement: bytes
    what: str


def receive(content: bytes, *, at: datetime, source: str) -> Answered:
    """Take in a message; when this returns, what is answered is committed.

    Any error of the database goes through; then `not_kept` is the answer.
    """
    try:
        taken = take(content, format=MessageFormat.HL7_V2, at=at, source=source)
    except NotTaken as refused:
        code, fault = of_refusal(refused.refusal, refused.where)
        return _answered(content, code, (fault,), at, refused.refusal.value)
    except Conflict:
        return _answered(content, Code.ERROR, (DUPLICATE,), at, "control id used before")
    what = f"message {taken.message.pk} {taken.step.step}{' before' if taken.repeated else ''}"
    if taken.step.step == Step.REFUSED:
        return _answered(content, Code.ERROR, of_problems(_problems(taken)), at, what)
    return _answered(content, Code.ACCEPTED, (), at, what)


def not_kept(content: bytes, *, at: datetime) -> Answered:
    """Return the answer to a message that could not be kept: it has to be sent again."""
    return _answered(content, Code.ERROR, (INTERNAL,), at, "not kept")


def too_long(*, at: datetime) -> Answered:
    """Return the answer to a message of which only the beginning was read."""
    code, fault = of_refusal(MessageRefusal.TOO_LONG, "")
    return _answered(b"", code, (fault,), at, "too long")


def _answered(
    content: bytes, code: Code, faults: tuple[Fault, ...], at: datetime, what: str
) -> Answered:
    own_id = secrets.token_hex(10)  # 20 characters, as many as MSH-10 had in every version
    return Answered(code, acknowledge(content, code, faults, at=at, own_id=own_id), what)


def _problems(taken: Taken) -> list[Problem]:
    """What was wrong when it came in; sent again, it is answered as it was then."""
    kept = (one for one in taken.step.reasons if one["kind"] == "problem")
    return [Problem(Reason(one["what"]), one["where"]) for one in kept]
