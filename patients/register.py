"""The register of patients: enrol somebody, correct a record.

The only code that writes a patient's facts; it keeps the look-up key and the history true. One
patient or ten thousand: a few queries for all of them.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.dispatch import Signal

from patients.batches import AT_ONCE, insert_all, update_all
from patients.match_keys import FIND_DUPLICATES, keep
from patients.models import Patient, PatientChange
from patients.rules.languages import SOURCE_LANGUAGE
from patients.rules.names import name_key
from patients.speaks_for import held_all
from patients.wake import wake

# Sent inside the transaction, after patients were enrolled or corrected: patients, at.
patient_changed = Signal()


class CorrectedMeanwhile(Exception):
    """Somebody corrected the patient since the record was read."""


FIELDS = ("mrn", "given_names", "family_names", "birth_date", "email", "phone", "language")
WRITTEN = (*FIELDS, "name_key", "recorded_at", "compare_with_register")


def enrol(
    *,
    mrn: str,
    given_names: str,
    family_names: str,
    birth_date: date,
    at: datetime,
    email: str = "",
    phone: str = "",
    language: str = SOURCE_LANGUAGE,
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
    enrol_all([patient], at=at, source=source, by_id=by_id)
    return patient


def enrol_all(
    patients: Sequence[Patient], *, at: datetime, source: str, by_id: int | None = None
) -> None:
    """Put patients that are not saved yet on the register.

    Raises IntegrityError when an MRN is taken, or is there twice.
    """
    for patient in patients:
        _bring_in_form(patient, at=at)
    with transaction.atomic():
        Patient.objects.bulk_create(patients, batch_size=AT_ONCE)
        history = [_history(one, at=at, source=source, by_id=by_id) for one in patients]
        _follow(patients, history, at=at, new=True)


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
    return correct_all([(patient.pk, facts)], at=at, source=source, by_id=by_id)[patient.pk]


def correct_all(
    corrections: Iterable[tuple[int, Mapping[str, Any]]],
    *,
    at: datetime,
    source: str,
    by_id: int | None = None,
) -> dict[int, Patient]:
    """Correct patients, each by id, one correction after another; return their records by id.

    Nothing is written for a correction that changes nothing. Raises MergedMeanwhile as `correct`.
    """
    corrections = list(corrections)
    unknown = {field for _, facts in corrections for field in facts} - set(FIELDS)
    if unknown:
        raise TypeError(f"a patient has no {sorted(unknown)}")
    with transaction.atomic():
        found = held_all(pk for pk, _ in corrections)
        history = []
        for pk, facts in corrections:
            patient = found[pk]
            before = {field: getattr(patient, field) for field in facts}
            for field, value in facts.items():
                setattr(patient, field, value)
            _strip(patient)
            if any(getattr(patient, field) != value for field, value in before.items()):
                _bring_in_form(patient, at=at)
                history.append(_history(patient, at=at, source=source, by_id=by_id))
        changed = [found[pk] for pk in sorted({row.patient_id for row in history})]
        update_all(changed, WRITTEN)
        _follow(changed, history, at=at)
    return found


def _strip(patient: Patient) -> None:
    """Blanks around an MRN or an address are never meant; names stay as they were written."""
    patient.mrn = patient.mrn.strip()
    patient.email = patient.email.strip()


def _bring_in_form(patient: Patient, *, at: datetime) -> None:
    _strip(patient)
    patient.name_key = name_key(patient.given_names, patient.family_names)
    patient.recorded_at = at
    patient.compare_with_register = True


def _history(patient: Patient, *, at: datetime, source: str, by_id: int | None) -> PatientChange:
    facts = {field: getattr(patient, field) for field in FIELDS}
    return PatientChange(patient=patient, source=source, recorded_at=at, by_id=by_id, **facts)


def _follow(
    patients: Sequence[Patient],
    history: Sequence[PatientChange],
    *,
    at: datetime,
    new: bool = False,
) -> None:
    """Keep the history and the look-up keys, and tell whoever listens."""
    if not patients:
        return
    insert_all(history)
    keep(patient.pk for patient in patients)
    patient_changed.send(sender=Patient, patients=patients, at=at, new=new)
    wake(FIND_DUPLICATES)
