"""Former and preferred names of a patient: kept, and ended when they are not to be used any more.

A name is a record of its own, written as it was told, and takes part in matching until its end.
"""

from contextlib import suppress
from datetime import datetime

from django.db import transaction
from django.db.models import QuerySet

from patients.match_keys import found_anew
from patients.models import OtherName, OtherNameEnd, Patient, PatientChange
from patients.register import patient_changed
from patients.rules.identity import NameKind
from patients.rules.names import normal_name
from patients.speaks_for import held, locked_speaker


class NameKnown(Exception):
    """The patient has this name already, as the current one or as another one in force."""


def in_force(patient: Patient) -> QuerySet[OtherName]:
    """Return the patient's other names that take part in matching, the earliest recorded first."""
    return OtherName.objects.filter(patient=patient, end__isnull=True)


def is_known(patient: Patient, given_names: str, family_names: str) -> bool:
    """Say whether the patient can be found under this name already, compared in normal form."""
    known = [
        (patient.given_names, patient.family_names),
        *in_force(patient).values_list("given_names", "family_names"),
    ]
    asked = normal_name(given_names, family_names)
    return any(asked == normal_name(*one) for one in known)


def add(
    patient: Patient,
    *,
    kind: NameKind,
    given_names: str,
    family_names: str,
    at: datetime,
    by_id: int | None,
    source: str,
) -> OtherName:
    """Keep a former or preferred name. Raises NameKnown if it adds nothing to what is known.

    Raises MergedMeanwhile for a record that was merged: its names stay as they were.
    """
    with transaction.atomic():
        latest = held(patient.pk)
        if is_known(latest, given_names, family_names):
            raise NameKnown
        name = OtherName.objects.create(
            patient=latest,
            kind=kind,
            given_names=given_names,
            family_names=family_names,
            source=source,
            recorded_at=at,
            by_id=by_id,
        )
        _follow(latest, at=at)
    return name


def keep_former(
    patient: Patient,
    before: Patient | PatientChange,
    *,
    at: datetime,
    by_id: int | None,
    source: str,
) -> None:
    """Keep the name that a record had before its correction, unless it is known already."""
    with suppress(NameKnown):
        add(
            patient,
            kind=NameKind.FORMER,
            given_names=before.given_names,
            family_names=before.family_names,
            at=at,
            by_id=by_id,
            source=source,
        )


def end(name: OtherName, *, reason: str, at: datetime, by_id: int) -> bool:
    """End a name: it was never right, or is not to be used. False if it had ended already."""
    with transaction.atomic():
        latest = locked_speaker(name.patient)
        _, ended_now = OtherNameEnd.objects.get_or_create(
            name=name, defaults={"reason": reason, "recorded_at": at, "by_id": by_id}
        )
        if ended_now:
            _follow(latest, at=at)
    return ended_now


def _follow(patient: Patient, *, at: datetime) -> None:
    """The patient is found under other names now: whoever asked by name is to ask again."""
    found_anew([patient.pk])
    patient_changed.send(sender=Patient, patients=[patient], at=at)
