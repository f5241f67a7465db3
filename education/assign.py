"""Keep assignments equal to the operation's date and the requirements in force."""

from datetime import datetime

from django.db import transaction

from education.models import Assignment, AssignmentChange, Module, Requirement
from education.rules.window import window
from patients.models import Booking, Operation, Procedure, latest_first

StaffId = int | None


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
        for operation in Operation.objects.still_open().filter(procedure=procedure):
            follow(operation, at=at)
    return requirement


def in_force(procedure: Procedure) -> list[Requirement]:
    """Return the requirements of a procedure as they are now, those that were ended included."""
    latest: dict[int, Requirement] = {}
    for row in Requirement.objects.filter(procedure=procedure).order_by(*latest_first()):
        latest.setdefault(row.module_id, row)
    return sorted(latest.values(), key=lambda row: (row.opens_days, row.id))


def follow(operation: Operation, *, at: datetime) -> None:
    """Bring the assignments of one operation in line; call it in the act's own transaction.

    A cancelled operation closes its assignments; a done one closes those that were due before it;
    another procedure closes those that it does not need. Closed ones follow the date all the same.
    """
    needed = {row.module_id: row for row in in_force(operation.procedure)}
    existing = {a.module_id: a for a in Assignment.objects.filter(operation=operation)}
    for module_id, requirement in needed.items():
        assignment = existing.pop(module_id, None)
        if assignment or (requirement.required and operation.is_open):
            _bring_in_line(assignment, operation, requirement, at=at)
    for assignment in existing.values():  # of an earlier procedure
        latest = assignment.changes.order_by("-id").select_related("requirement")[0]
        _bring_in_line(assignment, operation, latest.requirement, at=at, needed=False)


def _bring_in_line(
    assignment: Assignment | None,
    operation: Operation,
    requirement: Requirement,
    *,
    at: datetime,
    needed: bool = True,
) -> None:
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
    if assignment and all(getattr(assignment, name) == value for name, value in wanted.items()):
        return
    assignment = assignment or Assignment(operation=operation, module_id=requirement.module_id)
    for name, value in wanted.items():
        setattr(assignment, name, value)
    assignment.recorded_at = at
    assignment.save()
    _write_history(assignment, requirement, operation, at=at)


def _write_history(
    assignment: Assignment, requirement: Requirement, operation: Operation, *, at: datetime
) -> None:
    AssignmentChange.objects.create(
        assignment=assignment,
        requirement=requirement,
        or_date=operation.or_date,
        opens_on=assignment.opens_on,
        clear_by=assignment.clear_by,
        closed=assignment.closed,
        recorded_at=at,
    )
