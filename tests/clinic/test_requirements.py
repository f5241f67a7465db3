"""What procedures require: seen before it is saved, and followed by the open operations."""

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from clinic.models import Role
from education.models import Assignment, Module, Requirement
from patients.models import Booking, Procedure
from tests.factories import a_procedure, a_programme, an_edition, an_operation, signed_in
from tests.rendered_forms import form_to

pytestmark = pytest.mark.django_db


@pytest.fixture
def administrator() -> Client:
    a_programme()
    return signed_in(Role.ADMINISTRATOR)


@pytest.fixture
def module() -> Module:
    a_programme()
    return an_edition().module


def page(procedure: Procedure, module: Module) -> str:
    return reverse("requirement", args=[procedure.pk, module.pk])


def words(response: Any) -> str:
    return " ".join(response.content.decode().split())


def test_the_page_says_how_many_operations_it_touches_before_it_is_saved(
    administrator: Client, module: Module
) -> None:
    procedure = a_procedure()
    for booking in (Booking.PROPOSED, Booking.CONFIRMED, Booking.ON_HOLD, Booking.CANCELLED):
        an_operation(procedure=procedure, booking=booking)
    asked = {"opens_days": "-60", "clear_by_days": "-10", "example": "2027-03-01"}
    text = words(administrator.get(page(procedure, module), asked))
    assert "would touch 3 open operations" in text
    assert "31 December 2026" in text  # 60 days before 1 March 2027, by the calendar
    assert "19 February 2027" in text
    assert not Requirement.objects.exists()


def test_saving_makes_the_open_operations_follow(administrator: Client, module: Module) -> None:
    operation = an_operation(days_ahead=50)
    act = page(operation.procedure, module)
    shown = form_to(administrator.get(act, {"opens_days": "-40", "clear_by_days": "-5"}), "")
    assert administrator.post(act, shown).status_code == 302
    assignment = Assignment.objects.get()
    assert operation.or_date
    assert assignment.opens_on == operation.or_date - timedelta(days=40)
    assert assignment.clear_by == operation.or_date - timedelta(days=5)
    assert Requirement.objects.get().by is not None


def test_changing_and_ending_are_new_rows(administrator: Client, module: Module) -> None:
    operation = an_operation()
    act = page(operation.procedure, module)
    for asked in (
        {"opens_days": "-40", "clear_by_days": "-5"},
        {"opens_days": "-30", "clear_by_days": "-5"},
        {"opens_days": "-30", "clear_by_days": "-5", "end": "on"},
    ):
        shown = form_to(administrator.get(act, asked), "")
        administrator.post(act, shown)
    assert [r.required for r in Requirement.objects.order_by("id")] == [True, True, False]
    assert Assignment.objects.get().closed
    assert "Nothing is required" in words(administrator.get(reverse("requirements")))


@pytest.mark.parametrize(
    "opens, clear_by", [("-5", "-6"), ("", "-5"), ("-5", "x"), ("-99999", "0"), ("9" * 50, "0")]
)
def test_a_window_that_cannot_be_is_refused(
    administrator: Client, module: Module, opens: str, clear_by: str
) -> None:
    act = page(a_procedure(), module)
    typed = {"opens_days": opens, "clear_by_days": clear_by}
    assert administrator.get(act, typed).status_code == 400
    shown = form_to(administrator.get(act, {"opens_days": "-9", "clear_by_days": "-5"}), "")
    assert administrator.post(act, shown | typed).status_code == 400
    assert not Requirement.objects.exists()


def test_a_procedure_is_added_once_whatever_the_case(administrator: Client) -> None:
    for number, code in enumerate(["BPD", "bpd"]):
        shown = form_to(administrator.get(reverse("requirements")), "")
        name = f"Diversion {number}"
        administrator.post(reverse("requirements"), shown | {"code": code, "name": name})
    assert [p.code for p in Procedure.objects.all()] == ["BPD"]


def test_the_text_of_an_edition_can_be_read_with_its_key(module: Module) -> None:
    client = signed_in(Role.DIETITIAN)
    assert "Before your operation" in words(client.get(reverse("modules")))
    for language in ("en", "es"):
        text = words(client.get(reverse("module", args=[module.code]), {"language": language}))
        assert f'lang="{language}"' in text
        assert "right:" in text
    assert client.get(reverse("module", args=["unknown"])).status_code == 404
