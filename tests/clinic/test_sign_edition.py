"""A clinician signs an edition; until then every page of staff's says that nobody has."""

import uuid
from datetime import timedelta
from pathlib import Path

import pytest
from django.urls import reverse

from clinic.evidence import as_csv, as_fhir_quiz, pdf_words
from clinic.evidence.fhir_parts import Names
from clinic.evidence.gather import gather
from clinic.models import Role
from education.models import EditionSign
from education.signing import sign, unsigned
from patients import programme
from patients.clock import now
from tests.education.phone import Phone, words
from tests.factories import (
    STARTER,
    a_member,
    a_programme,
    a_submission,
    an_assignment,
    an_edition,
    an_invitation,
    an_operation,
    signed_in,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("founded")]

MARK = '<span class="unsigned">unsigned</span>'
SIGN = "Sign edition 1"


@pytest.fixture
def founded() -> None:
    a_programme()


def test_a_clinician_signs_once_and_the_next_edition_is_unsigned_again() -> None:
    edition = an_edition()
    page = reverse("module", args=[edition.module.code])
    address = reverse("sign-edition", args=[edition.module.code, 1])
    clinician = a_member(Role.CLINICIAN, name="Ottoline Brask")
    desk = signed_in(clinician)
    assert SIGN in words(desk.get(page))
    dietitian = words(signed_in(Role.DIETITIAN).get(page))
    assert "<strong>Unsigned.</strong>" in dietitian
    assert SIGN not in dietitian
    form = {"act_key": str(uuid.uuid4())}
    for _ in range(2):
        assert desk.post(address, form)["Location"] == f"{page}?edition=1"
    desk.post(address, {"act_key": str(uuid.uuid4())})  # a second wish changes nothing either
    assert EditionSign.objects.get().by == clinician
    assert "Signed by Ottoline Brask" in words(desk.get(page))
    assert SIGN not in words(desk.get(page))
    assert unsigned() == frozenset()
    an_edition()
    assert unsigned() == {edition.module_id}
    assert "<strong>Unsigned.</strong>" in words(desk.get(page))
    assert "Signed by Ottoline Brask" in words(desk.get(f"{page}?edition=1"))


def test_each_page_that_shows_the_module_says_so_until_it_is_signed() -> None:
    assignment = an_assignment(operation=an_operation(days_ahead=9))
    edition = assignment.module.editions.get()
    code, patient = assignment.module.code, assignment.operation.patient_id
    pages = {
        Role.DIETITIAN: [
            reverse("modules"),
            reverse("morning"),
            reverse("patient", args=[patient]),
            reverse("call-sheet", args=[patient, assignment.pk]),
            reverse("operation", args=[assignment.operation_id]),
            *(reverse(name, args=[code]) for name in ("how-it-reads", "quiz-measured")),
            reverse("clear-communication", args=[code]),
        ],
        Role.ADMINISTRATOR: [
            reverse("requirements"),
            reverse("requirement", args=[assignment.operation.procedure_id, assignment.module_id]),
        ],
    }
    desks = {role: signed_in(role) for role in pages}
    for is_signed in (False, True):
        for role, listed in pages.items():
            for page in listed:
                assert (MARK in words(desks[role].get(page))) is not is_signed, page
        sign(edition, at=now(), by_id=a_member(Role.CLINICIAN).pk)


@pytest.mark.parametrize("file", sorted(STARTER.glob("*.toml")), ids=lambda file: file.stem)
def test_a_starter_module_is_passed_and_its_sources_are_told_to_staff_alone(file: Path) -> None:
    edition = an_edition(file.read_text())
    told = [section.sources[:40] for section in edition.sections.all()]
    shown = words(signed_in(Role.AUDITOR).get(reverse("module", args=[edition.module.code])))
    assert shown.count("Sources, for staff only:") == len(told)
    phone = Phone(*an_invitation(assignment=an_assignment(module=edition.module)))
    pages = [words(phone.open())]
    phone.begin()
    pages += [words(phone.open(f"{number}/")) for number in (1, 2, 3)]
    phone.answer_all()
    patient = phone.invitation.assignment.operation.patient
    phone.type_name(given_names=patient.given_names, family_names=patient.family_names)
    phone.hand_in()
    pages.append(words(phone.open("result/")))
    assert "You passed" in pages[-1]
    assert not [text for text in told for page in pages if text in page]


def test_the_clearance_record_says_whether_the_edition_was_signed() -> None:
    at = now()
    invitation, _ = an_invitation(at=at - timedelta(days=3))
    a_submission(invitation, at=at - timedelta(days=2))
    patient = invitation.assignment.operation.patient
    before = gather(patient, on=None, at=at, by="test").editions[0]
    assert before.signed is None
    clinician = a_member(Role.CLINICIAN, name="Ottoline Brask")
    sign(invitation.assignment.module.editions.get(), at=at, by_id=clinician.pk)
    record = gather(patient, on=None, at=at + timedelta(seconds=1), by="test")
    signed = record.editions[0].signed
    assert signed is not None
    assert (signed.at, signed.by) == (at, "Ottoline Brask")
    yesterday = programme.local_day(at) - timedelta(days=1)
    assert gather(patient, on=yesterday, at=at, by="test").editions[0].signed is None
    row = next(row for row in as_csv.rows(record) if row.kind == "edition")
    assert (row.what, row.by) == ("signed", "Ottoline Brask")
    assert "Ottoline Brask" in str(pdf_words.blocks(record, undrawn=False))
    # HL7 FHIR R4, Questionnaire.approvalDate: "when the questionnaire was approved by publisher".
    names = Names("https://larkfield.example")
    approved = as_fhir_quiz.questionnaire(record.editions[0], names, record.zone)
    assert approved["approvalDate"] == programme.local_day(at).isoformat()
    assert "approvalDate" not in as_fhir_quiz.questionnaire(before, names, record.zone)
