"""Answer whether an OR date may be confirmed, and confirm it."""

import hashlib
import json
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime

from django.db import Error, transaction
from django.db.models import QuerySet

from clinic.models import Confirmation, StaffUser
from education.models import Assignment
from education.rules.confirm import CANNOT_TELL, Requirement, Verdict, Word, may_confirm
from education.standings import Told, standings_at
from patients import programme
from patients.models import Booking, Operation
from patients.prepared import GivenIds, prepared
from patients.schedule import change

CONFIRMED = "confirmed"  # how the history of an operation names where it came from


@dataclass(frozen=True)
class OperationAnswer:
    """One word for an operation, the reasons, and the instant at which it was true.

    `seen` is a short text that changes whenever the operation or the answer does.
    """

    operation: Operation
    verdict: Verdict
    told: tuple[Told, ...]
    asked_at: datetime

    @property
    def seen(self) -> str:
        facts = [self.operation.version, self.verdict.word, self.verdict.reasons]
        facts += [(t.assignment.pk, t.answer.standing, t.answer.reasons) for t in self.told]
        return hashlib.sha256(json.dumps(facts).encode()).hexdigest()[:16]


class AnswerChanged(Exception):
    """The answer is not the one that the page showed."""

    def __init__(self, answer: OperationAnswer) -> None:
        super().__init__("the answer changed")
        self.answer = answer


class Held(Exception):
    """Confirming against a hold needs a named clinician and a reason."""


def answers(operations: list[Operation], *, at: datetime) -> list[OperationAnswer]:
    """Answer for each operation; when a fact cannot be read, every answer is "cannot tell"."""
    if not operations:
        return []
    try:
        on, told = standings_at(_open_assignments(operations), at=at)
    except (Error, programme.NotFounded):
        return [OperationAnswer(o, CANNOT_TELL, (), at) for o in operations]
    by_operation: dict[int, list[Told]] = defaultdict(list)
    for one in told:
        by_operation[one.assignment.operation_id].append(one)
    return [_answer(o, tuple(by_operation[o.pk]), on=on, at=at) for o in operations]


def _open_assignments(operations: list[Operation]) -> list[Assignment]:
    """Read the open assignments, each with its operation as it was given."""
    by_id = {operation.pk: operation for operation in operations}
    found = _assignments(operations=by_id)
    for one in found:
        one.operation = by_id[one.operation_id]
    return found


@prepared
def _assignments() -> QuerySet[Assignment]:
    rows = Assignment.objects.still_open().filter(operation__among=GivenIds("operations"))
    return rows.select_related("module").order_by("clear_by", "id")


def answer(operation: Operation, *, at: datetime) -> OperationAnswer:
    """Answer for one operation."""
    return answers([operation], at=at)[0]


def _answer(
    operation: Operation, told: tuple[Told, ...], *, on: date, at: datetime
) -> OperationAnswer:
    verdict = may_confirm(
        [Requirement(t.assignment.pk, t.assignment.due_before_operation, t.answer) for t in told],
        has_date=operation.or_date is not None,
        date_passed=operation.or_date is not None and operation.or_date < on,
        is_open=operation.is_open,
    )
    return OperationAnswer(operation, verdict, told, at)


def confirm(
    operation: Operation,
    *,
    seen: str,
    at: datetime,
    by: StaffUser,
    clinician: str = "",
    clinician_reason: str = "",
) -> Confirmation:
    """Confirm the OR date, by the answer that the page showed.

    Raises AnswerChanged when the answer is another one now, and Held when it is not "confirm" and
    no clinician and reason are named, or when there is no date that could be confirmed.
    """
    with transaction.atomic():
        latest = Operation.objects.select_for_update().get(pk=operation.pk)
        now = answer(latest, at=at)
        if now.seen != seen:
            raise AnswerChanged(now)
        against_hold = now.verdict.word != Word.CONFIRM
        named = clinician.strip() and clinician_reason.strip()
        if now.verdict.word == Word.CANNOT_TELL or (against_hold and not named):
            raise Held
        if latest.or_date is None or not latest.is_open:
            raise Held
        # Written first: whoever looks at the change has to see that somebody confirmed it.
        confirmation = Confirmation.objects.create(
            operation=latest,
            or_date=latest.or_date,
            version=latest.version + (latest.booking != Booking.CONFIRMED),
            word=now.verdict.word,
            reasons=_reasons(now),
            against_hold=against_hold,
            clinician=clinician.strip() if against_hold else "",
            clinician_reason=clinician_reason.strip() if against_hold else "",
            recorded_at=at,
            by=by,
        )
        confirmation.operation = change(
            latest,
            at=at,
            by_id=by.pk,
            booking=Booking.CONFIRMED,
            source=CONFIRMED,
            reason=clinician_reason,
        )
        return confirmation


def _reasons(given: OperationAnswer) -> list[str]:
    return [str(reason) for reason in given.verdict.reasons] + [
        f"{t.assignment.module.code}: {t.answer.standing}" for t in given.told
    ]
