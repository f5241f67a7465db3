"""Assignments follow the operation's date, its booking, its procedure and the requirements."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import IntegrityError, transaction

from education.assign import in_force, require
from education.models import Assignment, AssignmentChange, Module
from patients.models import Booking, Operation, Procedure
from patients.schedule import change, move
from tests.education.short_module import a_short_edition, short_module
from tests.factories import a_procedure, an_operation

pytestmark = pytest.mark.django_db

AT = datetime(2026, 3, 2, 15, tzinfo=UTC)
LATER = AT + timedelta(hours=1)
OR_DATE, NEW_DATE = date(2026, 3, 22), date(2026, 4, 5)
Dates = tuple[date | None, date | None]


def _module(code: str = "sips") -> Module:
    return a_short_edition(at=AT, text=short_module(code)).module


def _operation(or_date: date | None = OR_DATE, procedure: Procedure | None = None) -> Operation:
    return an_operation(at=AT, or_date=or_date, procedure=procedure)


def _only() -> Assignment:
    return Assignment.objects.get()


def _dates(assignment: Assignment) -> Dates:
    return assignment.opens_on, assignment.clear_by


def test_a_requirement_reaches_the_operations_that_are_planned_already() -> None:
    operation = _operation()
    require(operation.procedure, _module(), opens_days=-28, clear_by_days=-7, at=AT)
    assert _dates(_only()) == (date(2026, 2, 22), date(2026, 3, 15))
    assert _only().due_before_operation


def test_a_new_operation_gets_what_its_procedure_requires() -> None:
    require(a_procedure(), _module("sips"), opens_days=-28, clear_by_days=-7, at=AT)
    require(a_procedure(), _module("home"), opens_days=1, clear_by_days=14, at=AT)
    require(a_procedure("BYP", "Bypass"), _module("more"), opens_days=-9, clear_by_days=0, at=AT)
    _operation()
    before, after = Assignment.objects.order_by("opens_on")
    assert (before.module.code, before.due_before_operation) == ("sips", True)
    assert (after.module.code, after.due_before_operation) == ("home", False)
    assert _dates(after) == (date(2026, 3, 23), date(2026, 4, 5))


def test_moving_the_date_moves_both_days_and_keeps_the_history() -> None:
    operation = _operation()
    require(operation.procedure, _module(), opens_days=-28, clear_by_days=-7, at=AT)
    move(operation, NEW_DATE, at=LATER)
    assert _dates(_only()) == (date(2026, 3, 8), date(2026, 3, 29))
    lines = list(AssignmentChange.objects.all())
    assert [line.or_date for line in lines] == [OR_DATE, NEW_DATE]
    assert [line.clear_by for line in lines] == [date(2026, 3, 15), date(2026, 3, 29)]
    assert [line.recorded_at for line in lines] == [AT, LATER]


def test_without_a_date_there_are_no_days_and_with_one_they_come_back() -> None:
    operation = _operation(None)
    require(operation.procedure, _module(), opens_days=-28, clear_by_days=-7, at=AT)
    assert _dates(_only()) == (None, None)
    move(operation, NEW_DATE, at=LATER)
    assert _dates(_only()) == (date(2026, 3, 8), date(2026, 3, 29))
    move(operation, None, at=LATER)
    assert _dates(_only()) == (None, None)
    assert not _only().closed


def test_cancelling_closes_and_reviving_opens_again() -> None:
    operation = _operation()
    require(operation.procedure, _module(), opens_days=-28, clear_by_days=-7, at=AT)
    change(operation, at=LATER, booking=Booking.CANCELLED)
    assert _only().closed
    change(operation, at=LATER, booking=Booking.PROPOSED, or_date=NEW_DATE)
    assert not _only().closed
    assert _dates(_only()) == (date(2026, 3, 8), date(2026, 3, 29))
    assert [line.closed for line in AssignmentChange.objects.all()] == [False, True, False]


def test_a_done_operation_closes_what_was_due_before_it_only() -> None:
    operation = _operation()
    require(operation.procedure, _module("sips"), opens_days=-28, clear_by_days=0, at=AT)
    require(operation.procedure, _module("home"), opens_days=0, clear_by_days=14, at=AT)
    change(operation, at=LATER, booking=Booking.DONE)
    assert {a.module.code: a.closed for a in Assignment.objects.all()} == {
        "sips": True,
        "home": False,
    }


@pytest.mark.parametrize("booking", [Booking.CANCELLED, Booking.DONE])
def test_a_closed_operation_gets_no_new_assignment(booking: Booking) -> None:
    operation = an_operation(at=AT, or_date=OR_DATE, booking=booking)
    require(operation.procedure, _module(), opens_days=-28, clear_by_days=-7, at=AT)
    assert not Assignment.objects.exists()


def test_a_changed_requirement_moves_the_days() -> None:
    operation = _operation()
    module = _module()
    require(operation.procedure, module, opens_days=-28, clear_by_days=-7, at=AT)
    require(operation.procedure, module, opens_days=-60, clear_by_days=-14, at=LATER)
    assert _dates(_only()) == (date(2026, 1, 21), date(2026, 3, 8))
    assert [r.opens_days for r in in_force(operation.procedure)] == [-60]


def test_an_ended_requirement_closes_and_a_new_one_opens_again() -> None:
    operation = _operation()
    module = _module()
    require(operation.procedure, module, opens_days=-28, clear_by_days=-7, at=AT)
    require(operation.procedure, module, opens_days=-28, clear_by_days=-7, at=LATER, required=False)
    assert _only().closed
    require(operation.procedure, module, opens_days=-28, clear_by_days=-7, at=LATER)
    assert not _only().closed


def test_another_procedure_closes_what_only_the_first_one_needs() -> None:
    sleeve, bypass = a_procedure(), a_procedure("BYP", "Bypass")
    shared, first, second = _module("shared"), _module("first"), _module("second")
    for procedure, module, days in (
        (sleeve, shared, -7),
        (sleeve, first, -7),
        (bypass, shared, -14),
        (bypass, second, -7),
    ):
        require(procedure, module, opens_days=-28, clear_by_days=days, at=AT)
    operation = _operation(procedure=sleeve)
    change(operation, at=LATER, procedure=bypass)
    found = {a.module.code: a for a in Assignment.objects.all()}
    assert {code: a.closed for code, a in found.items()} == {
        "shared": False,
        "first": True,
        "second": False,
    }
    assert found["shared"].clear_by == date(2026, 3, 8)


@pytest.mark.parametrize("or_date", [NEW_DATE, None])
def test_what_an_earlier_procedure_needed_follows_the_date_although_closed(
    or_date: date | None,
) -> None:
    """Dates without the OR date that they come from would be answered in two ways."""
    sleeve, bypass = a_procedure(), a_procedure("BYP", "Bypass")
    require(sleeve, _module(), opens_days=-28, clear_by_days=-7, at=AT)
    operation = _operation(procedure=sleeve)
    change(operation, at=LATER, procedure=bypass)
    move(operation, or_date, at=LATER)
    assert _only().closed
    assert _dates(_only()) == ((date(2026, 3, 8), date(2026, 3, 29)) if or_date else (None, None))
    latest = AssignmentChange.objects.order_by("-id")[0]
    assert (latest.or_date, latest.closed) == (or_date, True)


def test_a_change_that_moves_no_day_writes_no_line() -> None:
    operation = _operation()
    require(operation.procedure, _module(), opens_days=-28, clear_by_days=-7, at=AT)
    change(operation, at=LATER, surgeon="Dr. Imre Valk")
    change(operation, at=LATER, booking=Booking.ON_HOLD)
    assert AssignmentChange.objects.count() == 1


def test_a_module_cannot_be_due_before_it_opens() -> None:
    operation = _operation()
    with pytest.raises(IntegrityError), transaction.atomic():
        require(operation.procedure, _module(), opens_days=-7, clear_by_days=-28, at=AT)
    assert not Assignment.objects.exists()


def test_the_day_of_the_operation_itself_is_before_it() -> None:
    operation = _operation()
    require(operation.procedure, _module(), opens_days=-1, clear_by_days=0, at=AT)
    assert _only().due_before_operation
