"""Take in HL7 v2 messages and say what is answered to each."""

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from patients.intake import Arrived, CameOf, Conflict, Taken, take_all
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


def receive_all(arrived: Sequence[Arrived], *, at: datetime) -> list[Answered]:
    """Take in messages, in one transaction; when this returns, what is answered is committed.

    Any error of the database goes through; then `not_kept` is the answer to each.
    """
    came = take_all(arrived, format=MessageFormat.HL7_V2, at=at)
    return [_answer(one.content, what, at) for one, what in zip(arrived, came, strict=True)]


def _answer(content: bytes, came: CameOf, at: datetime) -> Answered:
    if isinstance(came, NotTaken):
        code, fault = of_refusal(came.refusal, came.where)
        return _answered(content, code, (fault,), at, came.refusal.value)
    if isinstance(came, Conflict):
        return _answered(content, Code.ERROR, (DUPLICATE,), at, "control id used before")
    what = f"message {came.message.pk} {came.step.step}{' before' if came.repeated else ''}"
    if came.step.step == Step.REFUSED:
        return _answered(content, Code.ERROR, of_problems(_problems(came)), at, what)
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
