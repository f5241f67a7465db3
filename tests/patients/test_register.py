"""Enrolling and correcting: the record, its history and its look-up key stay one."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import IntegrityError

from patients.models import Patient, PatientChange
from patients.register import FIELDS, correct, enrol
from tests.factories import a_patient, a_programme

pytestmark = pytest.mark.django_db

AT = datetime(2026, 3, 2, 15, tzinfo=UTC)
LATER = AT + timedelta(days=1)


def _history(patient: Patient, field: str) -> list[Any]:
    return list(patient.changes.values_list(field, flat=True))


def test_enrolling_writes_the_record_and_the_first_line_of_its_history() -> None:
    patient = a_patient(at=AT, given_names="Zoë", family_names="O’Brien-Łuk")
    change = PatientChange.objects.get(patient=patient)
    assert {f: getattr(change, f) for f in FIELDS} == {f: getattr(patient, f) for f in FIELDS}
    assert change.recorded_at == AT
    assert patient.name_key == "luk obrien zoe"


def test_names_are_kept_as_they_were_written() -> None:
    written = "  Zoë  Ann\u200d "
    assert Patient.objects.get(pk=a_patient(given_names=written).pk).given_names == written


def test_a_correction_keeps_what_stood_before() -> None:
    patient = a_patient(at=AT, family_names="Ruiz")
    corrected = correct(patient, at=LATER, source="call", family_names="Whitcombe")
    assert _history(corrected, "family_names") == ["Ruiz", "Whitcombe"]
    assert _history(corrected, "recorded_at") == [AT, LATER]
    assert "whitcombe" in corrected.name_key
    assert corrected.recorded_at == LATER


def test_a_correction_that_changes_nothing_writes_nothing() -> None:
    patient = a_patient(at=AT, email="one@example.org")
    correct(patient, at=LATER, source="import", email="one@example.org", phone=patient.phone)
    assert PatientChange.objects.filter(patient=patient).count() == 1
    assert Patient.objects.get(pk=patient.pk).recorded_at == AT


def test_a_correction_rests_on_the_record_not_on_the_copy_in_hand() -> None:
    patient = a_patient(at=AT, phone="1")
    stale = Patient.objects.get(pk=patient.pk)
    correct(patient, at=LATER, source="call", phone="2")
    correct(stale, at=LATER, source="call", email="new@example.org")
    assert Patient.objects.get(pk=patient.pk).phone == "2"


@pytest.mark.parametrize("mrn", ["MRN-000777", "mrn-000777", "  MRN-000777 "])
def test_an_mrn_is_given_once_whatever_its_case_and_blanks(mrn: str) -> None:
    a_patient(mrn="MRN-000777")
    with pytest.raises(IntegrityError):
        a_patient(mrn=mrn)


@pytest.mark.parametrize("field, value", [("mrn", ""), ("mrn", "  "), ("given_names", "")])
def test_a_patient_has_an_mrn_and_a_name(field: str, value: str) -> None:
    a_programme()
    facts: dict[str, Any] = {"mrn": "7", "given_names": "Ana", "family_names": "Ruiz", field: value}
    with pytest.raises(IntegrityError):
        enrol(birth_date=date(1980, 3, 12), at=AT, **facts)


def test_a_corrected_mrn_and_address_lose_their_blanks_like_enrolled_ones() -> None:
    patient = a_patient(mrn=" 12 ", email=" a@example.org ")
    assert (patient.mrn, patient.email) == ("12", "a@example.org")
    corrected = correct(patient, at=LATER, source="x", mrn=" 13 ", email=" b@example.org\t")
    assert (corrected.mrn, corrected.email) == ("13", "b@example.org")


@pytest.mark.django_db(transaction=True)
def test_an_mrn_cannot_be_corrected_away() -> None:
    patient = a_patient(mrn="12")
    with pytest.raises(IntegrityError):
        correct(patient, at=LATER, source="x", mrn="   ")
    assert Patient.objects.get(pk=patient.pk).mrn == "12"
    assert PatientChange.objects.filter(patient=patient).count() == 1


def test_what_a_patient_does_not_have_cannot_be_corrected() -> None:
    with pytest.raises(TypeError, match="shoe_size"):
        correct(a_patient(), at=LATER, source="x", shoe_size="42")


def test_a_patient_in_a_log_is_a_number() -> None:
    patient = a_patient(given_names="Ana", family_names="Ruiz")
    assert str(patient) == f"patient {patient.pk}"
