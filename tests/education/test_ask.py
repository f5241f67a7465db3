"""A patient asks, the dietitian answers: one question's whole life, and what stops it."""

import re
from datetime import timedelta

import pytest
import time_machine
from django.core import mail

from education.answer import ANSWER, answer, stand_of
from education.models import (
    AnswerLink,
    AnswerLinkToken,
    Message,
    MessageState,
    PatientQuestion,
    QuestionAnswer,
)
from education.often_asked import change, seen_by_patients, write
from education.personal_link import LinkState, open_link
from education.rules.asking import MOST_A_DAY, Means, Stand
from education.send import send
from patients.clock import now
from patients.models import Contact
from patients.register import correct
from tests.education.phone import Phone, words
from tests.education.test_patient_links import rows_by_table
from tests.factories import a_patient, a_question, an_answer, an_assignment, an_invitation
from tests.factories import an_operation as operation

pytestmark = pytest.mark.django_db

ASKED = "May I <b>walk</b>? \u202eon\x00 أسبوع 👩‍⚕️"
KEPT = "May I <b>walk</b>? on أسبوع 👩‍⚕️"
KEY = "6f0a1a1e-6c7b-4b0e-9a54-6d3c8a1f1a10"


@pytest.fixture
def phone() -> Phone:
    patient = a_patient(given_names="Quilla", family_names="Vandersloot", email="q@example.org")
    return Phone(*an_invitation(assignment=an_assignment(operation=operation(patient=patient))))


def question_of(phone: Phone) -> PatientQuestion:
    return PatientQuestion.objects.get(invitation=phone.invitation)


def test_a_question_is_asked_answered_corrected_and_ends_with_the_address(
    phone: Phone, clinician: int
) -> None:
    section = phone.invitation.assignment.module.editions.get().sections.all()[1]
    assert f"ask/?about=s-{section.key}" in words(phone.open())
    before = rows_by_table()
    box = phone.open(f"ask/?about=s-{section.key}&l=es")
    assert section.heading["es"] in words(box)
    assert "Esto no es para nada urgente." in words(box)
    assert "911" in words(box)
    assert rows_by_table() == before  # promise W4

    address = f"ask/?about=s-{section.key}"
    for _ in range(3):  # promise W3: sent three times, asked once
        sent = phone.send(address, question=ASKED, key=KEY)
        assert sent["Location"].startswith(f"{phone.link}ask/sent/")
    assert KEPT not in words(phone.client.get(sent["Location"]))  # promise W6
    asked = question_of(phone)
    assert (asked.text, asked.part, asked.language) == (KEPT, section.key, "en")
    assert list(PatientQuestion.objects.waiting()) == [asked]

    given = answer(asked, Means.EMAIL, "Yes, walk.", seen=0, at=now(), by_id=clinician)
    assert isinstance(given, QuestionAnswer)
    assert not PatientQuestion.objects.waiting().exists()
    message = Message.objects.get(purpose=ANSWER)
    assert send(message.pk, at=now())
    email = mail.outbox[-1]
    told = f"{email.subject}\n{email.body}"
    # Promise W10: no name, nothing of the question or the answer, one link.
    assert not re.search("Quilla|Vandersloot|walk", told)
    [link] = re.findall(r"https?://\S+(/q/\S+)", told)
    token = link.split("/")[2]
    assert AnswerLinkToken.objects.get().digest != token
    page = words(phone.client.get(link))
    assert "Yes, walk." in page
    assert "&lt;b&gt;walk" in page
    assert "Vandersloot" not in page

    answer(asked, Means.EMAIL, "Walk, but not uphill.", seen=1, at=now(), by_id=clinician)
    page = words(phone.client.get(link))
    assert "not uphill" in page
    assert "Yes, walk." not in page
    assert "This is a new answer" in page

    patient = phone.invitation.assignment.operation.patient
    correct(patient, email="other@example.org", at=now(), source="told us")
    assert phone.client.get(link).status_code == 410
    assert Message.objects.filter(state=MessageState.WAITING).count() == 0
    # The correction never went out: the question is on the list again.
    assert stand_of(PatientQuestion.objects.get()) == Stand.NOT_ARRIVED
    assert list(PatientQuestion.objects.waiting()) == [asked]


def test_a_patient_without_email_is_called(phone: Phone, clinician: int) -> None:
    asked = a_question(phone.invitation)
    correct(asked.patient, email="", at=now(), source="told us")
    asked.refresh_from_db()
    refused = answer(asked, Means.EMAIL, "Yes.", seen=0, at=now(), by_id=clinician)
    assert not isinstance(refused, QuestionAnswer)
    answer(asked, Means.PHONE, "Yes, she may.", seen=0, at=now(), by_id=clinician)
    assert Contact.objects.get().outcome == "reached"
    assert not PatientQuestion.objects.waiting().exists()
    # Somebody else answered meanwhile: nothing is written over.
    late = answer(asked, Means.PHONE, "No.", seen=0, at=now(), by_id=clinician)
    assert not isinstance(late, QuestionAnswer)


def test_too_long_too_many_and_nothing_are_said_and_nothing_typed_is_lost(phone: Phone) -> None:
    long = phone.send("ask/", question="x" * 10_000)
    assert long.status_code == 422
    assert "10000" in words(long)
    assert "x" * 10_000 in words(long)
    assert phone.send("ask/").status_code == 422  # fault 2: a scanner's empty form
    # Five this evening, by the programme's clock; after its midnight one more.
    with time_machine.travel("2027-01-05T23:30:00-06:00", tick=False):
        phone = Phone(*an_invitation())
        for number in range(MOST_A_DAY):
            assert phone.send("ask/", question=f"Question {number}?").status_code == 303
        refused = phone.send("ask/", question="And this?")
        assert refused.status_code == 422
        assert "And this?" in words(refused)
        assert "555-0142" in words(refused)
    with time_machine.travel("2027-01-06T00:30:00-06:00", tick=False):
        assert phone.send("ask/", question="And this?").status_code == 303
    assert PatientQuestion.objects.count() == MOST_A_DAY + 1


def test_w6_what_is_not_in_this_module_is_no_page(phone: Phone) -> None:
    nowhere = phone.client.get("/q/nowhere/")
    for about in ("s-nowhere", "q-nowhere"):
        page = phone.open(f"ask/?about={about}")
        assert (page.status_code, page.content) == (404, nowhere.content)
    phone.begin()
    key = phone.invitation.attempts.get().edition.questions.all()[0].key
    assert phone.open(f"ask/?about=q-{key}").status_code == 200


def test_an_answers_link_expires_and_is_dead_for_others(phone: Phone) -> None:
    link, token = an_answer(a_question(phone.invitation))
    assert open_link(AnswerLink, token, at=now()).state == LinkState.GOOD
    assert open_link(AnswerLink, token, at=link.expires_at).state == LinkState.EXPIRED
    assert open_link(AnswerLink, token[:-1] + "x", at=now()).link is None


def test_an_entry_is_seen_on_the_modules_page_and_can_be_told_for_a_day(
    phone: Phone, clinician: int
) -> None:
    at = now()
    module = phone.invitation.assignment.module
    entry = write(module, {"en": "Tea?"}, {"en": "Yes.\n\nHerbal too."}, at=at, by_id=clinician)
    assert "People often ask" in words(phone.open())
    assert "Herbal too." in words(phone.open())
    assert "Herbal too." not in words(phone.open("?l=es"))
    change(entry, {}, {}, shown=False, seen=1, at=at + timedelta(days=1), by_id=clinician)
    later = at + timedelta(days=2)
    assert seen_by_patients(module.pk, "en", at=later) == ()
    assert len(seen_by_patients(module.pk, "en", at=at)) == 1
