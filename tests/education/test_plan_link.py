"""The eating plan behind a personal link: dates that follow the OR date, and nobody's name."""

from datetime import date, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.core import mail
from django.db import connection
from django.test import Client

from clinic.models import Role
from education.eating_record import TypedFacts, record_facts
from education.models import EatingPlanGiven, PlanLink, PlanLinkToken
from education.plan_link import PlanRefusal, send_plan
from education.rules.may_give import Medicine
from education.send import sweep
from patients.clock import now
from patients.models import Booking, Operation
from patients.register import correct
from patients.schedule import change, move
from tests.factories import a_member, a_patient, a_plan_link, an_operation
from tests.tells import dated

pytestmark = pytest.mark.django_db

NOON = datetime.fromisoformat("2027-02-20T18:00:00+00:00")
OR_DATE = date(2027, 3, 10)


@pytest.fixture
def operation() -> Any:
    with time_machine.travel(NOON, tick=False):
        patient = a_patient(given_names="Rosalind", family_names="Ashdown", mrn="MRN-77")
        yield an_operation(patient=patient, days_ahead=None, or_date=OR_DATE)


def opened(token: str, *, language: str = "en", page: str = "plan/") -> Any:
    return Client().get(f"/q/{token}/{page}?l={language}")


def test_today_comes_first_and_every_day_has_its_date(operation: Operation) -> None:
    _, token = a_plan_link(operation)
    with time_machine.travel(NOON + timedelta(days=17), tick=False):  # 9 March
        text = opened(token).content.decode()
    assert text.index("Today: Clear liquids") < text.index("Your goals")
    assert "made for an operation on Wednesday, March 10, 2027" in text
    assert "Wed, February 24" in text
    assert "Call if you take insulin or other diabetes medicine." in text
    assert "miércoles 10 de marzo de 2027" in opened(token, language="es").content.decode()


def test_w6_nothing_says_whose_plan_it_is(operation: Operation) -> None:
    _, token = a_plan_link(operation)
    patient = operation.patient
    for page in ("plan/", "plan.ics"):
        text = opened(token, page=page).content.decode()
        for fact in ("Rosalind", "Ashdown", "MRN-77", patient.email):
            assert fact not in text, (page, fact)
        assert not dated(text, year=patient.birth_date.year), page


def test_w4_opening_changes_nothing(operation: Operation) -> None:
    _, token = a_plan_link(operation)
    with connection.execute_wrapper(refuse_to_write):
        for _ in range(10):
            answer = opened(token)
            assert answer.status_code == 200
            assert not answer.cookies


def refuse_to_write(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
    assert not sql.lstrip().upper().startswith(("INSERT", "UPDATE", "DELETE")), sql
    return execute(sql, params, many, context)


def test_a_moved_date_shows_the_new_days_and_says_so(operation: Operation) -> None:
    _, token = a_plan_link(operation)
    assert "Your date changed" not in opened(token).content.decode()
    move(operation, or_date=OR_DATE + timedelta(days=20), at=now())
    text = opened(token).content.decode()
    assert "Your date changed. It was March 10, 2027. Now it is March 30, 2027." in text
    assert "Throw away any older copy." in text
    assert "Tuesday, March 30, 2027" in text
    assert "Tue, March 16" in text


def test_without_a_date_there_are_no_days(operation: Operation) -> None:
    _, token = a_plan_link(operation)
    move(operation, or_date=None, at=now())
    text = opened(token).content.decode()
    assert "There are no dates for your plan just now." in text
    assert "Your operation has no date just now." in text
    assert "February" not in text
    assert opened(token, page="plan.ics").status_code == 404


def test_a_medicine_that_comes_up_later_holds_the_page_too(operation: Operation) -> None:
    _, token = a_plan_link(operation)
    said: dict[Medicine, bool | None] = {**dict.fromkeys(Medicine, False), Medicine.DIABETES: True}
    record_facts(
        operation.patient,
        TypedFacts("", None, "", None, None, said),
        at=now(),
        by_id=a_member(Role.DIETITIAN).pk,
    )
    text = opened(token).content.decode()
    assert "There are no dates for your plan just now." in text
    assert "We want to talk with you before you start." in text
    assert (
        "insulin" not in text.partition("<footer>")[0]
    )  # which fact holds it is not for this page


def test_fault_8_dead_links_say_what_to_do(operation: Operation) -> None:
    _, first = a_plan_link(operation)
    _, second = a_plan_link(operation)
    assert opened(first).status_code == 410
    assert opened("x" * 43).status_code == 404
    with time_machine.travel(NOON + timedelta(days=61), tick=False):
        assert opened(second).status_code == 410
    change(operation, booking=Booking.CANCELLED, at=now())
    assert opened(second).status_code == 410


def test_a_changed_address_kills_the_link(operation: Operation) -> None:
    _, token = a_plan_link(operation)
    old = operation.patient.email
    correct(operation.patient, email="new@example.org", at=now(), source="test")
    assert opened(token).status_code == 410
    correct(operation.patient, email=old, at=now(), source="test")
    assert opened(token).status_code == 410


def test_the_mail_is_neutral_and_its_link_opens(operation: Operation) -> None:
    """Promise W10; the token is made when the mail is sent, and only its hash is kept."""
    a_plan_link(operation)
    sweep(at=now())
    (sent,) = mail.outbox
    body = str(sent.body)
    for word in ("Rosalind", "Ashdown", "operation", "surg", "eating", "diet"):
        assert word not in body + sent.subject, word
    assert len(body.split()) <= 120
    token = body.split("/q/")[1].split("/")[0]
    assert opened(token).status_code == 200
    assert not PlanLinkToken.objects.filter(digest=token).exists()


def test_what_is_held_is_not_sent(operation: Operation) -> None:
    dietitian = a_member(Role.DIETITIAN)
    assert send_plan(operation, at=now(), by_id=dietitian.pk) == PlanRefusal.HELD
    a_plan_link(operation)
    correct(operation.patient, email="", at=now(), source="test")
    assert send_plan(operation, at=now(), by_id=dietitian.pk) == PlanRefusal.NO_EMAIL
    assert PlanLink.objects.count() == EatingPlanGiven.objects.count() == 1
