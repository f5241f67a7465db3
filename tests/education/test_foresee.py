"""What a change would do, held against what it then does."""

from copy import deepcopy
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from education.assign import require
from education.clear import clear_by_teach_back, waive
from education.foresee import Foreseen, foresee_plan, foresee_requirement
from education.models import Assignment, AssignmentChange, Module, Requirement
from education.rules.standing import Reason, Standing
from education.standings import standings
from patients import programme
from patients.clock import now
from patients.models import Booking, Operation
from patients.schedule import change
from tests.education.short_module import a_short_edition, short_module
from tests.factories import a_member, a_patient, an_assignment, an_operation

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("booked")]


def today() -> date:
    return programme.local_day(now())


@pytest.fixture(scope="module")
def booked(kept_open: None) -> Operation:
    """Two modules, one cleared 30 days ago and one not; and one due after the operation."""
    at = now() - timedelta(days=40)
    operation = an_operation(at=at, days_ahead=60)
    for code, opens, clear_by in (("sips", -60, -7), ("walks", -30, -14), ("home", 1, 30)):
        module = a_short_edition(at=at, text=short_module(code)).module
        an_assignment(
            operation=operation, module=module, opens_days=opens, clear_by_days=clear_by, at=at
        )
    cleared(operation, "sips", at=now() - timedelta(days=30))
    return operation


@pytest.fixture
def operation(booked: Operation) -> Operation:
    return deepcopy(booked)


def cleared(operation: Operation, code: str, *, at: datetime) -> None:
    clear_by_teach_back(
        operation.patient,
        Module.objects.get(code=code),
        at=at,
        by_id=a_member("dietitian").pk,
        note="all",
    )


def truly(operation: Operation) -> dict[int, Any]:
    """Return what each assignment of an operation is, by the module's id."""
    rows = Assignment.objects.filter(operation=operation, closed=False)
    told = standings(rows.select_related("operation", "module"), on=today())
    return {one.assignment.module_id: one.answer for one in told}


def would(found: list[Foreseen]) -> dict[int, Any]:
    return {one.assignment.module_id: one.then.answer for one in found if one.then}


PLANS = [
    {"or_date": 5},
    {"or_date": -1},
    {"or_date": 27},
    {"or_date": 90},
    {"or_date": None},
    {"booking": Booking.CANCELLED},
    {"booking": Booking.ON_HOLD},
    {"booking": Booking.DONE},
    {"or_date": 27, "booking": Booking.CANCELLED},
]


@pytest.mark.parametrize("before", [Booking.PROPOSED, Booking.CANCELLED])
@pytest.mark.parametrize("plan", PLANS)
def test_a_plan_does_what_was_foreseen(
    operation: Operation, plan: dict[str, Any], before: Booking
) -> None:
    operation = change(operation, at=now(), booking=before)
    or_date = operation.or_date
    if "or_date" in plan:
        or_date = None if plan["or_date"] is None else today() + timedelta(days=plan["or_date"])
    booking = plan.get("booking", Booking.PROPOSED)
    rows = AssignmentChange.objects.count()
    found = foresee_plan(
        operation, or_date=or_date, booking=booking, on=today(), settings=programme.current()
    )
    assert AssignmentChange.objects.count() == rows
    assert {f.assignment.module_id: f.now for f in found if f.now} == truly(operation)
    operation = change(operation, at=now(), or_date=or_date, booking=booking)
    assert would(found) == truly(operation)


def test_what_was_required_while_it_was_cancelled_comes_with_reviving(
    operation: Operation,
) -> None:
    """The assignment does not exist yet; what is on record of the patient counts all the same."""
    operation = change(operation, at=now(), booking=Booking.CANCELLED)
    module = a_short_edition(at=now(), text=short_module("late")).module
    require(operation.procedure, module, opens_days=-60, clear_by_days=-7, at=now())
    cleared(operation, "late", at=now())
    found = foresee_plan(
        operation,
        or_date=operation.or_date,
        booking=Booking.PROPOSED,
        on=today(),
        settings=programme.current(),
    )
    new = next(one for one in found if one.assignment.module_id == module.pk)
    assert new.now is None
    assert new.then
    assert new.then.answer.standing == Standing.CLEARED
    assert not Assignment.objects.filter(module=module).exists()
    change(operation, at=now(), booking=Booking.PROPOSED)
    assert would(found) == truly(operation)


@pytest.mark.parametrize(
    "opens, clear_by, required",
    [(-60, -7, True), (-20, -7, True), (-90, -25, True), (-90, -1, True), (2, 9, True),
     (-60, -7, False)],
)  # fmt: skip
@pytest.mark.parametrize("code", ["sips", "home", "new"])
def test_a_requirement_does_what_was_foreseen(
    operation: Operation, code: str, opens: int, clear_by: int, required: bool
) -> None:
    module = Module.objects.filter(code=code).first()
    module = module or a_short_edition(at=now(), text=short_module(code)).module
    other = an_operation(patient=a_patient(), days_ahead=12)
    waive(Assignment.objects.filter(operation=other)[0], reason="x", at=now(),
          by_id=a_member("clinician").pk)  # fmt: skip
    wanted = Requirement(
        procedure=operation.procedure,
        module=module,
        opens_days=opens,
        clear_by_days=clear_by,
        required=required,
    )
    found = foresee_requirement(
        wanted, [operation, other], on=today(), settings=programme.current()
    )
    require(operation.procedure, module, opens_days=opens, clear_by_days=clear_by, at=now(),
            required=required)  # fmt: skip
    for one in (operation, other):
        mine = [f for f in found if f.assignment.operation_id == one.pk]
        expected = {pk: a for pk, a in truly(one).items() if pk == module.pk}
        assert would(mine) == expected


def test_too_old_is_foreseen_with_its_reason(operation: Operation) -> None:
    found = foresee_plan(
        operation,
        or_date=today() + timedelta(days=60),
        booking=Booking.PROPOSED,
        on=today(),
        settings=programme.current(),
    )
    sips = next(one for one in found if one.assignment.module.code == "sips")
    assert sips.now
    assert sips.now.standing == Standing.CLEARED
    assert sips.then
    assert Reason.CLEARANCE_TOO_OLD in sips.then.answer.reasons


def test_the_number_of_queries_does_not_grow_with_the_operations(operation: Operation) -> None:
    module = Module.objects.get(code="sips")
    wanted = Requirement(
        procedure=operation.procedure, module=module, opens_days=-20, clear_by_days=-7
    )
    used = programme.current()
    few = [operation, an_operation(patient=a_patient())]
    many = [*few, *(an_operation(patient=a_patient()) for _ in range(8))]
    counts = []
    for operations in (few, many):
        with CaptureQueriesContext(connection) as queries:
            foresee_requirement(wanted, operations, on=today(), settings=used)
        counts.append(len(queries))
    assert counts[1] == counts[0] <= 10
