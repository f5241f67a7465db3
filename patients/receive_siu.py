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
    asked_for,
    commit_code,
    of_problems,
    of_refusal,
)


@dataclass(frozen=True)
class Answered:
    """The answers in their order, and a word for the log that tells of nobody.

    One in the original mode; none, one or two in the enhanced one.
    """

    code: Code
    acknowledgements: tuple[bytes, ...]
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
        return _answered(content, Code.ERROR, of_problems(_problems(came)), at, what, kept=True)
    return _answered(content, Code.ACCEPTED, (), at, what, kept=True)


def not_kept(content: bytes, *, at: datetime) -> Answered:
    """Return the answer to a message that could not be kept: it has to be sent again."""
    return _answered(content, Code.ERROR, (INTERNAL,), at, "not kept")


def too_long(*, at: datetime) -> Answered:
    """Return the answer to a message of which only the beginning was read."""
    code, fault = of_refusal(MessageRefusal.TOO_LONG, "")
    return _answered(b"", code, (fault,), at, "too long")


def _answered(
    content: bytes,
    code: Code,
    faults: tuple[Fault, ...],
    at: datetime,
    what: str,
    *,
    kept: bool = False,
) -> Answered:
    asked = asked_for(content)
    if asked is None:
        return Answered(code, (acknowledge(content, code, faults, at=at, own_id=_own_id()),), what)
    commit = commit_code(code, kept=kept)
    answers = []
    if asked.accept.holds(successful=kept):
        wrong = () if kept else faults
        answers.append(acknowledge(content, commit, wrong, at=at, own_id=_own_id()))
    if kept and asked.application.holds(successful=code == Code.ACCEPTED):
        answers.append(acknowledge(content, code, faults, at=at, own_id=_own_id(), unanswered=True))
    return Answered(commit, tuple(answers), what)


def _own_id() -> str:
    return secrets.token_hex(10)  # 20 characters, as many as MSH-10 had in every version


def _problems(taken: Taken) -> list[Problem]:
    """What was wrong when it came in; sent again, it is answered as it was then."""
    kept = (one for one in taken.step.reasons if one["kind"] == "problem")
    return [Problem(Reason(one["what"]), one["where"]) for one in kept]
