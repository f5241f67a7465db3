"""What a change of requirement would do is seen before it is saved: how many, in what way, who."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.confirm import answer, confirm
from clinic.models import Role, StaffUser, TrailEntry
from clinic.requiring import Would, would
from education.clear import clear_by_teach_back
from education.models import Module, Requirement
from education.rules.requiring import Effect
from patients.clock import now
from patients.models import Booking, Operation, Procedure
from patients.schedule import change
from tests.education.short_module import a_short_edition, short_module
from tests.factories import (
    a_member,
    a_patient,
    a_procedure,
    a_programme,
    an_assignment,
    an_operation,
    signed_in,
)
from tests.rendered_forms import form_to

pytestmark = pytest.mark.django_db


@pytest.fixture
def clinician() -> StaffUser:
    return a_member(Role.CLINICIAN)


@pytest.fixture
def module() -> Module:
    return a_short_edition(at=now() - timedelta(days=90), text=short_module("sips")).module


def in_days(days: int | None, *, module: Module, cleared: int | None, by: StaffUser) -> Operation:
    """An operation so many days ahead, its one module cleared so many days ago, or not at all."""
    at = now() - timedelta(days=80)
    ahead = None if days is None else days + 80
    operation = an_operation(patient=a_patient(at=at), at=at, days_ahead=ahead)
    an_assignment(operation=operation, module=module, at=at)
    if cleared is not None:
        clear_by_teach_back(
            operation.patient, module, at=now() - timedelta(days=cleared), by_id=by.pk, note="all"
        )
    return operation


def confirmed(operation: Operation, by: StaffUser) -> Operation:
    confirm(operation, seen=answer(operation, at=now()).seen, at=now(), by=by)
    return operation


def asked(module: Module, opens: int, clear_by: int, *, required: bool = True) -> Would:
    wanted = Requirement(
        procedure=a_procedure(),
        module=module,
        opens_days=opens,
        clear_by_days=clear_by,
        required=required,
    )
    return would(wanted, at=now())


@pytest.fixture
def four(module: Module, clinician: StaffUser) -> list[Operation]:
    """Cleared 30 days ago and confirmed; cleared today; not cleared; and without a date."""
    return [
        confirmed(in_days(20, module=module, cleared=30, by=clinician), clinician),
        in_days(20, module=module, cleared=0, by=clinician),
        in_days(40, module=module, cleared=None, by=clinician),
        in_days(None, module=module, cleared=None, by=clinician),
    ]


def test_a_window_that_opens_later_makes_a_clearance_too_old(
    four: list[Operation], module: Module
) -> None:
    found = asked(module, -30, -7)
    assert (found.operations, found.other_window) == (4, 3)
    assert found.effects == {Effect.TOO_OLD: [four[0]], Effect.NOT_DUE: [four[0]]}
    assert found.no_longer_clear == [four[0]]


def test_a_window_that_closes_earlier_turns_some_late(
    four: list[Operation], module: Module
) -> None:
    found = asked(module, -60, -55)
    assert found.effects == {
        Effect.LATE: [four[2]],
        Effect.NEEDS_SIGN_OFF: [four[0], four[1]],
    }
    assert found.no_longer_clear == [four[0]]


def test_ending_it_leaves_nothing_that_a_confirmed_one_could_be_clear_by(
    four: list[Operation], module: Module
) -> None:
    found = asked(module, -60, -7, required=False)
    assert set(found.effects[Effect.NO_LONGER_ASKED]) == set(four)
    assert found.no_longer_clear == [four[0]], "nothing would be required, and silence holds"


def test_a_new_module_touches_everybody(four: list[Operation]) -> None:
    other = a_short_edition(at=now(), text=short_module("walks")).module
    found = asked(other, -60, -7)
    assert len(found.effects[Effect.NEWLY_ASKED]) == 4
    assert found.no_longer_clear == [four[0]]


def test_a_module_due_after_the_operation_never_holds(four: list[Operation]) -> None:
    other = a_short_edition(at=now(), text=short_module("home")).module
    found = asked(other, 1, 30)
    assert len(found.effects[Effect.NEWLY_ASKED]) == 4
    assert found.no_longer_clear == []


def test_other_procedures_and_closed_operations_are_not_touched(
    four: list[Operation], module: Module
) -> None:
    change(four[2], at=now(), booking=Booking.CANCELLED)
    an_operation(patient=a_patient(), procedure=a_procedure("RNY", "Bypass"))
    assert asked(module, -60, -55).operations == 3


def test_the_number_of_queries_does_not_grow(
    four: list[Operation], module: Module, clinician: StaffUser
) -> None:
    counts = []
    for more in (1, 4):
        for _ in range(more):
            confirmed(in_days(20, module=module, cleared=30, by=clinician), clinician)
        with CaptureQueriesContext(connection) as queries:
            asked(module, -30, -7)
        counts.append(len(queries))
    assert counts[1] == counts[0] <= 20


# --- the page ------------------------------------------------------------------------------------


def page(procedure: Procedure, module: Module) -> str:
    return reverse("requirement", args=[procedure.pk, module.pk])


def words(response: Any) -> str:
    return " ".join(response.content.decode().split())


@pytest.fixture
def administrator() -> Client:
    a_programme()
    return signed_in(Role.ADMINISTRATOR)


def test_the_page_says_what_would_happen_and_to_whom_first(
    four: list[Operation], module: Module, administrator: Client
) -> None:
    response = administrator.get(
        page(a_procedure(), module), {"opens_days": "-60", "clear_by_days": "-55"}
    )
    text = words(response)
    assert "This would touch 4 open operations" in text
    assert "1 would turn late" in text
    assert "2 would need a clinician’s sign-off" in text
    assert "1 confirmed, and would no longer be clear" in text
    assert f'href="{reverse("operation", args=[four[2].pk])}"' in text
    named = {four[0].patient_id, four[1].patient_id, four[2].patient_id}
    told = TrailEntry.objects.filter(act="GET requirement").values_list("patient", flat=True)
    assert set(told) == named, "whoever is named was looked at"
    assert Requirement.objects.count() == 1


def test_the_live_example_is_worked_out_by_the_calendar(
    module: Module, administrator: Client
) -> None:
    """By the calendar: 14 May 2027 less 90 days is 13 February, less 14 days 30 April."""
    given = {"opens_days": "-90", "clear_by_days": "-14", "example": "2027-05-14"}
    text = words(administrator.get(page(a_procedure(), module), given))
    assert "For an operation on 14 May: opens 13 February, clear by 30 April." in text
    given["example"] = "2027-01-14"
    text = words(administrator.get(page(a_procedure(), module), given))
    assert "For an operation on 14 January 2027: opens 16 October 2026, clear by 31 " in text


@pytest.mark.parametrize("example", ["9999-12-31", "0001-01-01", "nonsense", ""])
def test_an_example_that_cannot_be_breaks_nothing(
    module: Module, administrator: Client, example: str
) -> None:
    given = {"opens_days": "-90", "clear_by_days": "700", "example": example}
    assert administrator.get(page(a_procedure(), module), given).status_code == 200
    assert administrator.get(reverse("requirements"), {"example": example}).status_code == 200


def test_a_page_older_than_the_requirement_saves_nothing(
    four: list[Operation], module: Module, administrator: Client
) -> None:
    act = page(a_procedure(), module)
    shown = form_to(administrator.get(act, {"opens_days": "-30", "clear_by_days": "-5"}), "")
    other = signed_in(Role.ADMINISTRATOR)
    theirs = form_to(other.get(act, {"opens_days": "-50", "clear_by_days": "-9"}), "")
    assert other.post(act, theirs).status_code == 302
    response = administrator.post(act, shown)
    assert response.status_code == 409
    assert "Nothing was saved." in words(response)
    assert Requirement.objects.latest("id").opens_days == -50
