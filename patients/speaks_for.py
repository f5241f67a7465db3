"""Which record speaks for which, and whose an operation was: now, or as it was known at an instant.

A record that was merged into another one stays as it is; the record that was kept speaks for it,
and for whatever had been merged into it before, however deep. `Patient.merged_into` is who speaks
for a record now; which merges led there, and who spoke for it earlier, the rows of `Merge` say.
"""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.db.models import BigIntegerField, Exists, OuterRef, QuerySet

from patients.batches import batches
from patients.models import Merge, MergeUndone, Operation, OperationMoved, Patient
from patients.prepared import Given, GivenIds, prepared


class MergedMeanwhile(Exception):
    """The record was merged into another one, which is the one to act on; `speaker` is that one."""

    def __init__(self, speaker: Patient) -> None:
        super().__init__("the record was merged into another one")
        self.speaker = speaker


def in_force(*, known_at: datetime | None = None) -> QuerySet[Merge]:
    """Return the merges in force now, or those that were before the instant `known_at`."""
    if known_at is None:
        return Merge.objects.filter(undone__isnull=True)
    undone = MergeUndone.objects.filter(merge=OuterRef("pk"), recorded_at__lt=known_at)
    return Merge.objects.filter(~Exists(undone), recorded_at__lt=known_at)


def speaker(patient: Patient) -> Patient:
    """Return who speaks for a record now: itself, unless it was merged. Reads anew."""
    found = Patient.objects.select_related("merged_into").get(pk=patient.pk)
    return found.merged_into or found


def locked_speaker(patient: Patient) -> Patient:
    """Return who speaks for a record, locked: until the transaction ends no merge changes that."""
    while True:
        # A merge or its undoing may have been first; it locks both its records.
        for own in _locked_if_itself(pk=patient.pk):
            return own
        for kept in _locked_if_itself(pk=speaker(patient).pk):
            if speaker(patient).pk == kept.pk:
                return kept


@prepared
def _locked_if_itself() -> QuerySet[Patient]:
    one = Patient.objects.filter(pk=Given("pk", BigIntegerField()), merged_into=None)
    return one.select_for_update()


def held(patient_id: int) -> Patient:
    """Lock a record whose own facts are to be written, and read it anew.

    Raises MergedMeanwhile for one that was merged: its facts stay as they were.
    """
    found = Patient.objects.select_for_update().get(pk=patient_id)
    if found.merged_into:
        raise MergedMeanwhile(found.merged_into)
    return found


def held_all(patient_ids: Iterable[int]) -> dict[int, Patient]:
    """Lock many records, the lowest first so that no two callers wait for each other.

    Raises MergedMeanwhile when one of them was merged.
    """
    found: dict[int, Patient] = {}
    for some in batches(sorted(set(patient_ids))):
        rows = Patient.objects.select_for_update().filter(pk__in=some).order_by("pk")
        found |= {one.pk: one for one in rows}
    merged = next((one.merged_into for one in found.values() if one.merged_into_id), None)
    if merged:
        raise MergedMeanwhile(merged)
    return found


def speaker_then(patient: Patient, *, known_at: datetime) -> Patient:
    """Return who spoke for a record just before an instant."""
    found = patient
    while then := in_force(known_at=known_at).filter(merged=found).select_related("kept").first():
        found = then.kept
    return found


def spoken_for(patient_ids: Iterable[int], *, known_at: datetime | None = None) -> dict[int, int]:
    """Return every record for which these patients speak, themselves included, and which of them.

    One query, and as of an instant one more for each merge into a merged record.
    """
    ids = set(patient_ids)
    if known_at is not None:
        return below(ids, known_at=known_at)
    return {pk: pk for pk in ids} | dict(_merged_into(kept=ids))


@prepared
def _merged_into() -> "QuerySet[Patient, Any]":
    return Patient.objects.filter(merged_into__among=GivenIds("kept")).values_list(
        "pk", "merged_into"
    )


def below(patient_ids: Iterable[int], *, known_at: datetime | None = None) -> dict[int, int]:
    """Return the same by the merges alone, also for patients who speak for nobody any more."""
    speaks = {pk: pk for pk in patient_ids}
    layer = set(speaks)
    while layer:
        merges = in_force(known_at=known_at).filter(kept__in=layer)
        found = {merged: speaks[kept] for merged, kept in merges.values_list("merged", "kept")}
        layer = set(found) - set(speaks)
        speaks |= found
    return speaks


def moved_since(operation_ids: Iterable[int], *, known_at: datetime) -> dict[int, int]:
    """Return whose these operations were just before an instant, for those that moved since."""
    moves = OperationMoved.objects.filter(
        operation__in=list(operation_ids), recorded_at__gte=known_at
    ).order_by("-recorded_at", "-id")
    # The earliest of them says it, and comes last.
    return dict(moves.values_list("operation", "from_patient"))


def operations_of(patient: Patient, *, known_at: datetime | None = None) -> list[int]:
    """Return the ids of a patient's operations, now or as they were just before an instant."""
    now = set(Operation.objects.filter(patient=patient).values_list("pk", flat=True))
    if known_at is None:
        return sorted(now)
    left = OperationMoved.objects.filter(from_patient=patient, recorded_at__gte=known_at)
    ever = now | set(left.values_list("operation", flat=True))
    elsewhere = moved_since(ever, known_at=known_at)
    return sorted(
        pk for pk in ever if elsewhere.get(pk, patient.pk if pk in now else None) == patient.pk
    )
