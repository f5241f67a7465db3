"""Keep assignments equal to the operation's date and the requirements in force."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import BigIntegerField, QuerySet
from django.dispatch import Signal

from education.models import Assignment, AssignmentChange, Module, Requirement
from education.rules.window import window
from patients.batches import AT_ONCE, batches, insert_all, update_all
from patients.models import Booking, Operation, Procedure, latest_first
from patients.prepared import Given, GivenIds, prepared

StaffId = int | None

# Sent inside the transaction, when the assignments of operations are in line: operations, at.
assignments_followed = Signal()

WRITTEN = ("opens_on", "clear_by", "due_before_operation", "closed", "recorded_at")


def require(
    procedure: Procedure,
    module: Module,
    *,
    opens_days: int,
    clear_by_days: int,
    at: datetime,
    by_id: StaffId = None,
    required: bool = True,
) -> Requirement:
    """Say that a procedure needs a module between two offsets in days from the OR date.

    Open operations follow at once. `required=False` ends the requirement. Raises IntegrityError
    when the module would be due before it opens.
    """
    with transaction.atomic():
        requirement = Requirement.objects.create(
            procedure=procedure,
            module=module,
            opens_days=opens_days,
            clear_by_days=clear_by_days,
            required=required,
            recorded_at=at,
            by_id=by_id,
        )
        follow(list(Operation.objects.still_open().filter(procedure=procedure)), at=at)
    return requirement


def in_force(procedure: Procedure) -> list[Requirement]:
    """Return the requirements of a procedure as they are now, those that were ended included."""
    latest: dict[int, Requirement] = {}
    for row in _latest_first(procedure=procedure.pk):
        latest.setdefault(row.module_id, row)
    return sorted(latest.values(), key=lambda row: (row.opens_days, row.id))


@prepared
def _latest_first() -> QuerySet[Requirement]:
    rows = Requirement.objects.filter(procedure=Given("procedure", BigIntegerField()))
    return rows.order_by(*latest_first())


@prepared
def _of_operations() -> QuerySet[Assignment]:
    return Assignment.objects.filter(operation__among=GivenIds("operations"))


def follow(operations: Sequence[Operation], *, at: datetime) -> None:
    """Bring the assignments of operations in line; call it in the act's own transaction.

    A cancelled operation closes its assignments; a done one closes those that were due before it;
    another procedure closes those that it does not need. Closed ones follow the date all the same.
    A few queries for each 2,000 operations.
    """
    requirements: dict[int, dict[int, Requirement]] = {}
    for operation in operations:
        if operation.procedure_id not in requirements:
            rows = in_force(operation.procedure)
            requirements[operation.procedure_id] = {row.module_id: row for row in rows}
    for some in batches(operations):
        existing: dict[int, dict[int, Assignment]] = {operation.pk: {} for operation in some}
        for assignment in _of_operations(operations=existing):
            existing[assignment.operation_id][assignment.module_id] = assignment
        _write(
            [
                wanted
                for operation in some
                for wanted in bring_in_line(
                    operation, requirements[operation.procedure_id], existing[operation.pk]
                )
            ],
            at=at,
        )
    assignments_followed.send(sender=Assignment, operations=operations, at=at)


@dataclass(frozen=True)
class Wanted:
    """An assignment as it should be, and the requirement that says so; `assignment` may be new."""

    assignment: Assignment
    operation: Operation
    requirement: Requirement


def bring_in_line(
    operation: Operation,
    needed: Mapping[int, Requirement],
    existing: Mapping[int, Assignment],
) -> Iterator[Wanted]:
    """Yield the assignments of one operation that are not in line, brought in line; writes nothing.

    `needed` and `existing` are by the module's id.
    """
    for module_id, requirement in needed.items():
        assignment = existing.get(module_id)
        if assignment or (requirement.required and operation.is_open):
            assignment = assignment or Assignment(operation=operation, module_id=module_id)
            if _set(assignment, operation, requirement):
                yield Wanted(assignment, operation, requirement)
    for module_id, assignment in existing.items():
        if module_id not in needed:  # of an earlier procedure
            latest = assignment.changes.order_by("-id").select_related("requirement")[0]
            if _set(assignment, operation, latest.requirement, needed=False):
                yield Wanted(assignment, operation, latest.requirement)


def _set(
    assignment: Assignment, operation: Operation, requirement: Requirement, *, needed: bool = True
) -> bool:
    """Set what an assignment should say; False if it says it already."""
    days = window(
        operation.or_date,
        opens_days=requirement.opens_days,
        clear_by_days=requirement.clear_by_days,
    )
    before = requirement.clear_by_days <= 0
    closed = (
        not needed
        or not requirement.required
        or operation.booking == Booking.CANCELLED
        or (operation.booking == Booking.DONE and before)
    )
    wanted = {
        "opens_on": days and days.opens_on,
        "clear_by": days and days.clear_by,
        "due_before_operation": before,
        "closed": closed,
    }
    if assignment.pk and all(getattr(assignment, name) == value for name, value in wanted.items()):
        return False
    for name, value in wanted.items():
        setattr(assignment, name, value)
    return True


def _write(changed: Sequence[Wanted], *, at: datetime) -> None:
    for wanted in changed:
        wanted.assignment.recorded_at = at
    new = [wanted.assignment for wanted in changed if wanted.assignment.pk is None]
    known = [wanted.assignment for wanted in changed if wanted.assignment.pk is not None]
    Assignment.objects.bulk_create(new, batch_size=AT_ONCE)
    update_all(known, WRITTEN)
    history = [
        AssignmentChange(
            assignment=wanted.assignment,
            requirement=wanted.requirement,
            or_date=wanted.operation.or_date,
            opens_on=wanted.assignment.opens_on,
            clear_by=wanted.assignment.clear_by,
            closed=wanted.assignment.closed,
            recorded_at=at,
        )
        for wanted in changed
    ]
    insert_all(history)
