"""The register of patients: enrol somebody, correct a record.

The only code that writes a patient's facts; it keeps the look-up key and the history true.
"""

from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.dispatch import Signal

from patients.match_keys import FIND_DUPLICATES, keep
from patients.models import Language, Patient, PatientChange
from patients.rules.names import name_key
from patients.speaks_for import held
from patients.wake import wake

# Sent inside the transaction, after a patient was enrolled or corrected: patient, at.
patient_changed = Signal()

FIELDS = ("mrn", "given_names", "family_names", "birth_date", "email", "phone", "language")


def enrol(
    *,
    mrn: str,
    given_names: str,
    family_names: str,
    birth_date: date,
    at: datetime,
    email: str = "",
    phone: str = "",
    language: str = Language.ENGLISH,
    source: str = "",
    by_id: int | None = None,
) -> Patient:
    """Put a patient on the register. Raises IntegrityError when the MRN is taken."""
    patient = Patient(
        mrn=mrn,
        given_names=given_names,
        family_names=family_names,
        birth_date=birth_date,
        email=email,
        phone=phone,
        language=language,
    )
    _strip(patient)
    return _record(patient, at=at, source=source, by_id=by_id)


def correct(
    patient: Patient,
    *,
    at: datetime,
    source: str,
    by_id: int | None = None,
    **facts: Any,
) -> Patient:
    """Correct some of a patient's facts; what stood before stays on record.

    Links that went to another address are dead from here on, because they name the address they
    went to (education.invite). Raises MergedMeanwhile for a record that was merged: its facts stay
    as they were.
    """
    unknown = set(facts) - set(FIELDS)
    if unknown:
        raise TypeError(f"a patient has no {sorted(unknown)}")
    with transaction.atomic():
        latest = held(patient.pk)
        before = {field: getattr(latest, field) for field in facts}
        for field, value in facts.items():
            setattr(latest, field, value)
        _strip(latest)
        if all(getattr(latest, field) == value for field, value in before.items()):
            return latest
        return _record(latest, at=at, source=source, by_id=by_id)


def _strip(patient: Patient) -> None:
    """Blanks around an MRN or an address are never meant; names stay as they were written."""
    patient.mrn = patient.mrn.strip()
    patient.email = patient.email.strip()


def _record(patient: Patient, *, at: datetime, source: str, by_id: int | None) -> Patient:
    patient.name_key = name_key(patient.given_names, patient.family_names)[:420]
    patient.recorded_at = at
    with transaction.atomic():
        patient.compare_with_register = True
        patient.save()
        keep([patient.pk])
        facts = {field: getattr(patient, field) for field in FIELDS}
        PatientChange.objects.create(
            patient=patient, source=source, recorded_at=at, by_id=by_id, **facts
        )
        patient_changed.send(sender=Patient, patient=patient, at=at)
        wake(FIND_DUPLICATES)
    return patient
