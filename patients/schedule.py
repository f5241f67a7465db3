"""The operating schedule: book an operation, move its date, confirm, hold, cancel, revive.

The only code that writes `Operation`, save for whose it is after a merge (patients.merge). Whatever
hangs off the OR date follows in the same transaction, through `operation_changed`.
"""

from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.dispatch import Signal

from patients.models import Booking, Operation, OperationChange, Patient, Procedure
from patients.speaks_for import locked_speaker

# Sent inside the transaction, after every change: operation, at.
operation_changed = Signal()

PLANNED = ("procedure", "surgeon", "facility", "or_date", "booking")


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
        recorded_at=at,
    )
    with transaction.atomic():
        operation.patient = locked_speaker(patient)
        operation.save()
        _write_history(operation, at=at, source=source, by_id=by_id, reason="")
    return operation


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
    unknown = set(planned) - set(PLANNED)
    if unknown:
        raise TypeError(f"an operation has no {sorted(unknown)}")
    with transaction.atomic():
        latest = Operation.objects.select_for_update().get(pk=operation.pk)
        if version is not None and version != latest.version:
            raise ChangedMeanwhile(latest)
        moved = "or_date" in planned and planned["or_date"] != latest.or_date
        stays = planned.get("booking", latest.booking) == latest.booking
        if moved and stays and latest.booking == Booking.CONFIRMED:
            planned["booking"] = Booking.PROPOSED
        if all(getattr(latest, field) == value for field, value in planned.items()):
            return latest
        for field, value in planned.items():
            setattr(latest, field, value)
        latest.version += 1
        latest.recorded_at = at
        latest.save()
        _write_history(latest, at=at, source=source, by_id=by_id, reason=reason)
    return latest


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


def _write_history(
    operation: Operation, *, at: datetime, source: str, by_id: int | None, reason: str
) -> None:
    OperationChange.objects.create(
        operation=operation,
        version=operation.version,
        reason=reason,
        source=source,
        recorded_at=at,
        by_id=by_id,
        **{field: getattr(operation, field) for field in PLANNED},
    )
    operation_changed.send(sender=Operation, operation=operation, at=at)
