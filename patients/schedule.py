"""The operating schedule: book an operation, move its date, confirm, hold, cancel, revive.

The only code that writes `Operation`, save for whose it is after a merge (patients.merge). Whatever
hangs off the OR date follows in the same transaction, through `operation_changed`.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.dispatch import Signal

from patients.batches import AT_ONCE, batches, insert_all, update_all
from patients.models import Booking, Operation, OperationChange, Patient, Procedure
from patients.speaks_for import held_all, locked_speaker

# Sent inside the transaction, after every change: operations, at.
operation_changed = Signal()

PLANNED = ("procedure", "surgeon", "facility", "or_date", "booking")
WRITTEN = (*PLANNED, "version", "recorded_at")


class ChangedMeanwhile(Exception):
    """Somebody changed the operation since the page was shown."""

    def __init__(self, operation: Operation) -> None:
        super().__init__("the operation was changed meanwhile")
        self.operation = operation


def book(
    *,
    patient: Patient,
    procedure: Procedure,
    at: datetime,
    or_date: date | None = None,
    surgeon: str = "",
    facility: str = "",
    case_number: str = "",
    booking: Booking = Booking.PROPOSED,
    source: str = "",
    by_id: int | None = None,
) -> Operation:
    """Put an operation on the schedule. Raises IntegrityError when the case number is taken.

    Booked for a record that was merged meanwhile, it is the patient's who speaks for it.
    """
    operation = Operation(
        patient=patient,
        procedure=procedure,
        case_number=case_number,
        surgeon=surgeon,
        facility=facility,
        or_date=or_date,
        booking=booking,
    )
    with transaction.atomic():
        operation.patient = locked_speaker(patient)
        _book([operation], at=at, source=source, by_id=by_id)
    return operation


def book_all(
    operations: Sequence[Operation], *, at: datetime, source: str, by_id: int | None = None
) -> None:
    """Put operations that are not saved yet on the schedule, in a few queries.

    Raises IntegrityError when a case number is taken, and MergedMeanwhile when one of the
    patients' records was merged since it was read.
    """
    with transaction.atomic():
        held_all(operation.patient_id for operation in operations)
        _book(operations, at=at, source=source, by_id=by_id)


def _book(operations: Sequence[Operation], *, at: datetime, source: str, by_id: int | None) -> None:
    for operation in operations:
        operation.recorded_at = at
    Operation.objects.bulk_create(operations, batch_size=AT_ONCE)
    history = [_history(one, at=at, source=source, by_id=by_id, reason="") for one in operations]
    _follow(operations, history, at=at)


def change(
    operation: Operation,
    *,
    at: datetime,
    reason: str = "",
    source: str = "",
    by_id: int | None = None,
    version: int | None = None,
    **planned: Any,
) -> Operation:
    """Change what is planned: any of procedure, surgeon, facility, or_date, booking.

    A confirmed operation whose date moves or is taken away goes back to proposed: what was
    confirmed was the other date. Nothing is written when nothing differs. Raises
    ChangedMeanwhile when `version` is given and is not the latest.
    """
    found = change_all(
        [(operation.pk, version, planned)], at=at, reason=reason, source=source, by_id=by_id
    )
    return found[operation.pk]


def change_all(
    changes: Iterable[tuple[int, int | None, Mapping[str, Any]]],
    *,
    at: datetime,
    reason: str = "",
    source: str = "",
    by_id: int | None = None,
) -> dict[int, Operation]:
    """Change operations, each by id, the version that was read and what is planned.

    One change after another, in a few queries; returns the operations by id. As `change` says.
    """
    changes = list(changes)
    unknown = {field for _, _, planned in changes for field in planned} - set(PLANNED)
    if unknown:
        raise TypeError(f"an operation has no {sorted(unknown)}")
    with transaction.atomic():
        found = _locked(pk for pk, _, _ in changes)
        history = []
        for pk, version, planned in changes:
            latest = found[pk]
            if version is not None and version != latest.version:
                raise ChangedMeanwhile(latest)
            if _plan(latest, dict(planned), at=at):
                history.append(_history(latest, at=at, source=source, by_id=by_id, reason=reason))
        changed = [found[pk] for pk in sorted({row.operation_id for row in history})]
        update_all(changed, WRITTEN)
        _follow(changed, history, at=at)
    return found


def _locked(operation_ids: Iterable[int]) -> dict[int, Operation]:
    """Lock operations, the lowest first so that no two callers wait for each other."""
    found: dict[int, Operation] = {}
    for some in batches(sorted(set(operation_ids))):
        rows = Operation.objects.select_for_update(of=("self",)).select_related("procedure")
        found |= {one.pk: one for one in rows.filter(pk__in=some).order_by("pk")}
    return found


def _plan(latest: Operation, planned: dict[str, Any], *, at: datetime) -> bool:
    """Set what is planned; say whether anything differs."""
    moved = "or_date" in planned and planned["or_date"] != latest.or_date
    stays = planned.get("booking", latest.booking) == latest.booking
    if moved and stays and latest.booking == Booking.CONFIRMED:
        planned["booking"] = Booking.PROPOSED
    if all(getattr(latest, field) == value for field, value in planned.items()):
        return False
    for field, value in planned.items():
        setattr(latest, field, value)
    latest.version += 1
    latest.recorded_at = at
    return True


def move(
    operation: Operation,
    or_date: date | None,
    *,
    at: datetime,
    reason: str = "",
    source: str = "",
    by_id: int | None = None,
) -> Operation:
    """Move the OR date, or take it away (postponed without a date)."""
    return change(operation, at=at, reason=reason, source=source, by_id=by_id, or_date=or_date)


def _history(
    operation: Operation, *, at: datetime, source: str, by_id: int | None, reason: str
) -> OperationChange:
    return OperationChange(
        operation=operation,
        version=operation.version,
        reason=reason,
        source=source,
        recorded_at=at,
        by_id=by_id,
        **{field: getattr(operation, field) for field in PLANNED},
    )


def _follow(
    operations: Sequence[Operation], history: Sequence[OperationChange], *, at: datetime
) -> None:
    """Keep the history, and tell whoever listens."""
    if operations:
        insert_all(history)
        operation_changed.send(sender=Operation, operations=operations, at=at)
