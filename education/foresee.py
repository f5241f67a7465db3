"""Say what a change of operations or requirements would make of the assignments; writes nothing.

The assignments are brought in line as `education.assign` does it, on copies that are never saved,
and the same facts are asked about the dates that they would have.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet

from education.assign import bring_in_line, in_force
from education.models import Assignment, Module, Requirement
from education.rules.moved import Moved, moved
from education.rules.standing import Answer, Facts
from education.rules.window import Window
from education.standings import Told, standings
from patients.models import Operation, Programme


@dataclass(frozen=True)
class Foreseen:
    """One assignment, as it is now and as it would be; None: it is not asked for.

    `told` has the facts. Of an assignment that would be new, it holds one that was never saved.
    """

    told: Told
    now: Answer | None
    then: Moved | None
    due_before_operation: bool

    @property
    def assignment(self) -> Assignment:
        return self.told.assignment

    @property
    def facts(self) -> Facts:
        return self.told.facts


def foresee_plan(
    operation: Operation,
    *,
    or_date: date | None,
    booking: str,
    on: date,
    settings: Programme,
) -> list[Foreseen]:
    """Say what another date or booking of one operation would do, on the day `on`."""
    then = copy(operation)
    then.or_date, then.booking = or_date, booking
    rows = Assignment.objects.filter(operation=operation)
    return _foresee([(operation, then)], in_force(operation.procedure), rows, on=on, used=settings)


def foresee_requirement(
    wanted: Requirement, operations: Sequence[Operation], *, on: date, settings: Programme
) -> list[Foreseen]:
    """Say what a requirement, not saved yet, would do to these operations of its procedure.

    The number of queries does not depend on the number of operations.
    """
    rows = Assignment.objects.filter(
        operation__in=[operation.pk for operation in operations], module=wanted.module
    )
    plans = [(operation, operation) for operation in operations]
    return _foresee(plans, [wanted], rows, on=on, used=settings)


def _foresee(
    plans: Sequence[tuple[Operation, Operation]],
    requirements: Sequence[Requirement],
    rows: QuerySet[Assignment],
    *,
    on: date,
    used: Programme,
) -> list[Foreseen]:
    needed = {requirement.module_id: requirement for requirement in requirements}
    modules = {requirement.module_id: requirement.module for requirement in requirements}
    existing: dict[int, list[Assignment]] = defaultdict(list)
    for row in rows.select_related("module").order_by("clear_by", "id"):
        existing[row.operation_id].append(row)
    as_it_is: list[Assignment] = []
    as_it_would_be: list[Assignment] = []
    for now, then in plans:
        for row in existing[now.pk]:
            row.operation = now
        copies = [copy(row) for row in existing[now.pk]]
        new = _new(then, needed, {row.module_id: row for row in copies})
        as_it_is += existing[now.pk]
        as_it_would_be += copies
        for assignment in new:
            as_it_would_be.append(assignment)
            as_it_is.append(_not_yet(assignment, now, modules, count=len(as_it_is)))
    told = standings(as_it_is, on=on)
    dates = {now.pk: then.or_date for now, then in plans}
    return [
        _foreseen(one, then, dates[then.operation_id], on=on, used=used)
        for one, then in zip(told, as_it_would_be, strict=True)
    ]


def _new(
    operation: Operation, needed: Mapping[int, Requirement], copies: Mapping[int, Assignment]
) -> list[Assignment]:
    changed = list(bring_in_line(operation, needed, copies))
    return [one.assignment for one in changed if one.assignment.pk is None]


def _not_yet(
    assignment: Assignment, operation: Operation, modules: Mapping[int, Module], *, count: int
) -> Assignment:
    """Return a stand-in whose facts can be read: what is on record is the patient's, not its own.

    Its id is one that no record has.
    """
    stand_in = copy(assignment)
    stand_in.pk = -1 - count
    stand_in.operation = operation
    stand_in.module = modules[assignment.module_id]
    stand_in.closed = True
    return stand_in


def _foreseen(
    told: Told, then: Assignment, or_date: date | None, *, on: date, used: Programme
) -> Foreseen:
    days = Window(then.opens_on, then.clear_by) if then.opens_on and then.clear_by else None
    return Foreseen(
        told=told,
        now=None if told.assignment.closed else told.answer,
        then=None
        if then.closed
        else moved(told.facts, or_date, days, on=on, notice_days=used.notice_days),
        due_before_operation=then.due_before_operation,
    )
