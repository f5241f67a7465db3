"""The call sheet on the screen, a contact that is corrected, and what the coordinator sees."""

from datetime import timedelta

import pytest
from django.urls import reverse

from clinic.once import new_key
from education.models import Clearance, TeachBack
from patients.clock import now
from patients.contact import log_contact
from patients.models import Contact, ContactCorrection, Means, Outcome
from patients.programme import local_day
from tests.factories import (
    a_member,
    a_patient,
    all_understood,
    an_assignment,
    an_operation,
    signed_in,
)

pytestmark = pytest.mark.django_db


def test_a_call_sheet_is_filled_in_sent_back_and_kept() -> None:
    patient = a_patient(language="es", email="")
    assignment = an_assignment(operation=an_operation(patient=patient))
    sheet = reverse("call-sheet", args=[patient.pk, assignment.pk])
    act, client = reverse("teach-back", args=[assignment.pk]), signed_in("dietitian")
    html = client.get(sheet).content.decode()
    assert "AHRQ" in html  # staff are told whose method it is
    assert 'lang="es">“Dígame con sus palabras' in html
    assert 'name="said-insulin"' in html
    assert 'name="said-bottles"' not in html  # not safety-critical, and no quiz missed it
    assert 'name="said-insulin"' not in signed_in("coordinator").get(sheet).content.decode()

    half = {**all_understood(assignment), "understood-stop-time": "no", "act_key": new_key()}
    sent_back = client.post(act, half)
    said = sent_back.content.decode()
    assert sent_back.status_code == 422
    assert 'href="#id_understood-stop-time"' in said
    assert "In their own words." in said  # what was typed is still there
    no_day = client.post(act, {"outcome": "not_yet", "means": "call", "act_key": new_key()})
    assert "Say on which day you go on." in no_day.content.decode()
    assert not (Clearance.objects.exists())
    assert not (Contact.objects.exists())

    tomorrow = local_day(now()) + timedelta(days=1)
    not_yet = {**half, "outcome": "not_yet", "next_on": str(tomorrow), "act_key": new_key()}
    assert client.post(act, not_yet).status_code == 302
    again = client.get(sheet).content.decode()
    assert "not yet, next contact" in again
    done = client.post(act, {**all_understood(assignment), "act_key": new_key()}, follow=True)
    page = done.content.decode()
    assert "It stands at: cleared." in page
    assert "said “In their own words.”" in page
    assert TeachBack.objects.count() == 2


def test_a_wrong_contact_is_corrected_and_the_coordinator_sees_who_nobody_reaches() -> None:
    assignment = an_assignment()
    patient, by = assignment.operation.patient, a_member("dietitian").pk
    for _ in range(2):
        contact = log_contact(
            patient, means=Means.CALL, outcome=Outcome.LEFT_A_MESSAGE, at=now(), by_id=by
        )
    coordinator, dietitian = signed_in("coordinator"), signed_in("dietitian")
    pages = (
        reverse("operations"),
        reverse("operation", args=[assignment.operation_id]),
        reverse("patient", args=[patient.pk]),
        reverse("morning"),
    )
    for address in pages:
        assert "2 messages without an answer" in coordinator.get(address).content.decode(), address
    assert "With the surgeon’s office" in dietitian.get(reverse("morning")).content.decode()
    assert f'id="row-{assignment.pk}"' in dietitian.get("/morning/?office=asked").content.decode()

    address = reverse("correct-contact", args=[contact.pk])
    assert address in dietitian.get(reverse("patient", args=[patient.pk])).content.decode()
    same = {"what": "another", "means": "call", "outcome": "left_a_message", "reason": "x"}
    refused = dietitian.post(address, {**same, "act_key": new_key()})
    assert "Nothing is different" in refused.content.decode()
    other = {**same, "outcome": "reached", "reason": "It was her husband's phone.", "note": ""}
    answer = dietitian.post(address, {**other, "act_key": new_key()}, follow=True)
    page = answer.content.decode()
    assert "It was her husband" in page
    assert "contact corrected" in page
    assert ContactCorrection.objects.get().contact == contact
    assert "without an answer: the surgeon" not in page  # reached: help is not needed any more
    for address in pages[:2]:
        assert "without an answer" not in coordinator.get(address).content.decode()
