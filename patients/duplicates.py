"""Find the records that may be one person, by the same engine that says whose a claim is.

`Patient.compare_with_register` says which records changed since they were compared; that mark is
the truth, and a woken task or the periodic sweep works it off. What is found is derived: rows of
`LikelyDuplicate`, shown as pairs to people, who alone say that two records are one person.
"""

import logging
import time
from collections.abc import Iterable
from datetime import datetime

from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet

from patients.conflicts import take_turns
from patients.lookup import OnRecord, likely_same
from patients.models import KeptApart, LikelyDuplicate, Patient
from patients.rules.likely_duplicate import worth_a_look

log = logging.getLogger(__name__)

BATCH = 200  # patients whose ids are read at once
ENOUGH = 20.0  # seconds after which a run lets others have the worker
LOCK = 7_204_312  # any number of our own; comparisons take turns on it
Found = dict[int, tuple[float, list[str]]]


def pairs() -> QuerySet[LikelyDuplicate]:
    """Return the pairs that a person should look at, the strongest first.

    Left out are those that were said to be two people, and those of which one was merged.
    """
    said_to_be_two = KeptApart.objects.filter(
        one=OuterRef("one"), other=OuterRef("other"), end__isnull=True
    )
    return LikelyDuplicate.objects.filter(
        ~Exists(said_to_be_two), one__merged_into__isnull=True, other__merged_into__isnull=True
    )


def waiting() -> QuerySet[Patient]:
    """Return the records that have not been compared with the register since they changed."""
    return Patient.objects.filter(compare_with_register=True).order_by("pk")


def compare_waiting(*, at: datetime) -> bool:
    """Compare records that wait, for a while. False when some may be left for the next run.

    A record that cannot be compared keeps its mark, and the ones behind it are compared.
    """
    begun = time.monotonic()
    last = 0
    while ids := list(waiting().filter(pk__gt=last).values_list("pk", flat=True)[:BATCH]):
        for pk in ids:
            _try_to_compare(pk, at=at)
            if time.monotonic() - begun > ENOUGH:
                return False
        last = ids[-1]
    return True


def find_duplicates(patient_ids: Iterable[int] | None = None, *, at: datetime) -> int:
    """Compare these patients with the register now, or everybody; returns how many they were."""
    if patient_ids is None:
        patient_ids = Patient.objects.order_by("pk").values_list("pk", flat=True).iterator()
    count = 0
    for pk in patient_ids:
        _compare(pk, at=at)
        count += 1
    return count


def _try_to_compare(patient_id: int, *, at: datetime) -> None:
    try:
        _compare(patient_id, at=at)
    except Exception:  # whatever it is, it must not stop the patients behind this one
        log.exception("Patient %s could not be compared with the register", patient_id)


def _compare(patient_id: int, *, at: datetime) -> None:
    """Make one patient's pairs true, and take the mark away; safe to do twice."""
    with transaction.atomic():
        # What one comparison reads may be older than the pair that another has written meanwhile,
        # and would take that away.
        take_turns(LOCK)
        # Whoever changes the patient meanwhile waits, and sets the mark anew afterwards.
        rows = Patient.objects.select_for_update(no_key=True)
        patient = rows.filter(pk=patient_id).first()
        if patient is None:
            return
        found = {} if patient.merged_into_id else _likely_pairs(patient)
        _write(patient, found, at=at)
        Patient.objects.filter(pk=patient_id).update(compare_with_register=False)


def _likely_pairs(patient: Patient) -> Found:
    """Return the other ids with the weight and the reasons.

    The engine is asked from the other side too before a pair is given up: it weighs a name by how
    common it is, so near the limit one record may find the other and not be found by it.
    """
    found = _found_by(patient)
    for row in _rows_of(patient).select_related("one", "other"):
        other = row.other if row.one_id == patient.pk else row.one
        if other.pk in found or other.merged_into_id:
            continue
        from_there = _found_by(other)
        if patient.pk in from_there:
            found[other.pk] = from_there[patient.pk]
    return found


def _found_by(patient: Patient) -> Found:
    people = OnRecord().people
    return {
        pk: (bits, [*map(str, whys)])
        for pk, bits, whys in likely_same(patient)
        if worth_a_look(bits, people=people)
    }


def _rows_of(patient: Patient) -> QuerySet[LikelyDuplicate]:
    return LikelyDuplicate.objects.filter(Q(one=patient) | Q(other=patient))


def _write(patient: Patient, found: Found, *, at: datetime) -> None:
    stand = Q(one__in=list(found)) | Q(other__in=list(found))
    _rows_of(patient).exclude(stand).delete()
    LikelyDuplicate.objects.bulk_create(
        # In one order everywhere, so that two workers wait for each other and never both.
        [
            LikelyDuplicate(
                one_id=min(patient.pk, pk),
                other_id=max(patient.pk, pk),
                weight=bits,
                reasons=reasons,
                recorded_at=at,
            )
            for pk, (bits, reasons) in sorted(found.items())
        ],
        update_conflicts=True,
        unique_fields=["one", "other"],
        update_fields=["weight", "reasons"],
    )
