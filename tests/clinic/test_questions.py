"""Patients' questions at the desk: answered once, nothing typed lost; “people often ask”."""

from typing import Any

import pytest
from django.test import Client

from clinic.models import Role
from education.models import Message, OftenAsked, OftenAskedWords, QuestionAnswer
from patients.clock import now
from patients.register import correct
from tests.factories import (
    a_patient,
    a_question,
    an_assignment,
    an_invitation,
    an_operation,
    signed_in,
)
from tests.rendered_forms import forms_of

pytestmark = pytest.mark.django_db


def post(client: Client, page: str, address: str = "", **typed: Any) -> Any:
    """Send the last form of a page that writes, as a browser would, with what was typed."""
    fields = next(f.fields for f in forms_of(client.get(page)) if "act_key" in f.fields)
    return client.post(address or page, fields | typed)


def test_a_question_from_the_morning_list_to_an_entry_that_everybody_reads() -> None:
    patient = a_patient(given_names="Quilla", family_names="Vandersloot", language="es")
    operation = an_operation(patient=patient)
    asked = a_question(an_invitation(assignment=an_assignment(operation=operation))[0])
    client = signed_in(Role.DIETITIAN)
    assert "1 question from patients waits" in client.get("/morning/").content.decode()
    page, answering = f"/questions/{asked.pk}/", f"/questions/{asked.pk}/answer/"
    assert asked.text in client.get("/questions/").content.decode()
    assert "Spanish" in client.get(page).content.decode()

    # What was typed is on the page again: too long, or answered by somebody else meanwhile.
    long = post(client, page, answering, means="email", text="Y" * 3_001)
    assert long.status_code == 422
    assert "Y" * 3_001 in long.content.decode()
    assert post(client, page, answering, means="email", text=" ").status_code == 422
    fields = next(f.fields for f in forms_of(client.get(page)) if "act_key" in f.fields)
    sent = [
        client.post(answering, fields | {"means": "email", "text": "Sí, camine."}) for _ in "123"
    ]
    assert {one.status_code for one in sent} == {302}  # promise W3: the form sent three times
    assert QuestionAnswer.objects.count() == Message.objects.filter(purpose="answer").count() == 1
    late = post(client, page, answering, means="email", text="Camine poco.", seen="0")
    assert late.status_code == 409
    assert "Camine poco." in late.content.decode()
    assert "Sí, camine." in late.content.decode()
    history = client.get(f"/patients/{patient.pk}/").content.decode()
    assert "question asked" in history
    assert "question answered" in history

    # An entry: the patient's own words stop it, and nobody makes one without having read it.
    new = f"/modules/{asked.edition.module.code}/often-asked/new/?from={asked.pk}"
    assert asked.text in client.get(new).content.decode()
    copied = post(client, new, question_en=asked.text, answer_en="Yes.", general="on")
    assert copied.status_code == 422
    assert "own words" in copied.content.decode()
    unread = post(client, new, question_en="Can I walk?", answer_en="Most people can.")
    assert unread.status_code == 422
    half = post(client, new, question_es="¿Caminar?", general="on")
    assert half.status_code == 422
    assert not OftenAsked.objects.exists()
    made = post(client, new, question_en="Can I walk?", answer_en="Most can.", general="on")
    assert made.status_code == 302
    entry = OftenAsked.objects.get()
    assert entry.came_from == asked
    listed = client.get(made["Location"]).content.decode()
    assert "Can I walk?" in listed
    missing = client.get("/not-translated/").content.decode()
    assert "Can I walk?" in missing

    change = f"/modules/{asked.edition.module.code}/often-asked/{entry.pk}/"
    archived = client.get(change).content.decode()
    assert "Archive it" in archived
    form = [f.fields for f in forms_of(client.get(change)) if "act_key" in f.fields][-1]
    assert client.post(change, form | {"archive": "1"}).status_code == 302
    assert [one.shown for one in OftenAskedWords.objects.filter(entry=entry)] == [True, False]


def test_a_patient_without_email_is_called_and_the_answer_kept_as_told_by_phone() -> None:
    asked = a_question(an_invitation()[0])
    correct(asked.patient, email="", at=now(), source="told us")
    client = signed_in(Role.DIETITIAN)
    page = f"/questions/{asked.pk}/"
    shown = client.get(page).content.decode()
    assert "No email address on file: call." in shown
    assert asked.patient.phone in shown
    assert "Send the answer" not in shown
    told = post(client, page, f"{page}answer/", means="phone", text="Told her she may.")
    assert told["Location"] == "/questions/"
    assert "No question waits" in client.get("/questions/").content.decode()
