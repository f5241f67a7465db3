"""Take in a FHIR bundle, all of its operations in one transaction, and say what is answered."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from patients.intake import Arrived, CameOf, Conflict, Taken, take_all
from patients.models import Step
from patients.rules.fhir_bundle import split_bundle
from patients.rules.fhir_outcome import Code, Issue, Severity, outcome
from patients.rules.message_formats import MessageFormat
from patients.rules.message_reading import MessageRefusal, NotTaken

# What a POST may carry; a file may be larger.
MAX_BUNDLE_BYTES = 5 * 1024 * 1024
CREATED, OK, BAD, CONFLICT, TOO_LARGE, UNPROCESSABLE = 201, 200, 400, 409, 413, 422
STATUSES = {
    MessageRefusal.TOO_LONG: TOO_LARGE,
    MessageRefusal.TOO_MANY_ENTRIES: TOO_LARGE,
    MessageRefusal.WRONG_RESOURCE: UNPROCESSABLE,
    MessageRefusal.NO_OPERATION: UNPROCESSABLE,
}
SAID = {
    Step.APPLIED: "applied",
    Step.UNCHANGED: "nothing to change",
    Step.WAITS: "kept; a person has to decide",
    Step.SET_ASIDE: "kept, and set aside",
    Step.OVERTAKEN: "a newer one is on record",
    Step.REFUSED: "refused",
}


@dataclass(frozen=True)
class Answered:
    """The status of the answer and its OperationOutcome."""

    status: int
    content: bytes


def receive(content: bytes, *, at: datetime, source: str) -> Answered:
    """Take in a bundle. What is answered is committed when the caller's transaction is.

    Any error of the database goes through; the sender has to send again.
    """
    if len(content) > MAX_BUNDLE_BYTES:
        return _refusal(MessageRefusal.TOO_LONG)
    try:
        parts = split_bundle(content)
    except NotTaken as refused:
        return _refusal(refused.refusal)
    arrived = [Arrived(part.content, source, part.line) for part in parts]
    came = take_all(arrived, format=MessageFormat.FHIR_R4, at=at)
    issues = [
        issue for part, one in zip(parts, came, strict=True) for issue in _issues(part.line, one)
    ]
    return Answered(_status(came), outcome(*issues))


def _refusal(refusal: MessageRefusal) -> Answered:
    status = STATUSES.get(refusal, BAD)
    code = Code.TOO_LONG if status == TOO_LARGE else Code.STRUCTURE
    return Answered(status, outcome(Issue(Severity.ERROR, code, _words(refusal))))


def _status(came: Sequence[CameOf]) -> int:
    """201 when anything new was kept, 200 when all of it had come before; else why not."""
    taken = [one for one in came if isinstance(one, Taken)]
    if any(not one.repeated and one.step.step != Step.REFUSED for one in taken):
        return CREATED
    if any(one.step.step != Step.REFUSED for one in taken):
        return OK
    return CONFLICT if any(isinstance(one, Conflict) for one in came) else UNPROCESSABLE


def _issues(line: int, came: CameOf) -> list[Issue]:
    entry = f"Entry {line}"
    if isinstance(came, NotTaken):
        return [Issue(Severity.ERROR, Code.STRUCTURE, f"{entry}: {_words(came.refusal)}")]
    if isinstance(came, Conflict):
        said = "the bundle's identifier was used for another content before"
        return [Issue(Severity.ERROR, Code.DUPLICATE, f"{entry}: {said}")]
    step = Step(came.step.step)
    again = " before" if came.repeated else ""
    if step not in (Step.REFUSED, Step.WAITS):
        said = f"{entry}: {SAID[step]}{again}"
        return [Issue(Severity.INFORMATION, Code.INFORMATIONAL, said)]
    refused = step == Step.REFUSED
    severity = Severity.ERROR if refused else Severity.WARNING
    code = Code.VALUE if refused else Code.BUSINESS_RULE
    # The reason's name and place alone: details are facts.
    return [
        Issue(severity, code, f"{entry}: {SAID[step]}{again}: {_words(one['what'])}", one["where"])
        for one in came.step.reasons
        if one["kind"] in ("problem", "doubt")
    ] or [Issue(severity, code, f"{entry}: {SAID[step]}{again}")]


def _words(reason: str) -> str:
    return str(reason).replace("_", " ")
