"""Say that two records are one person, and take it back.

The record that is kept speaks for both from there on: the operations move to it, and what other
apps hold follows through the signals. Nothing that was written about the merged record is touched,
so that the merge can be undone for as long as both are on record. What came after the merge stays
with the record that was kept.

Both patients' rows are locked first, in the order of their ids, as everybody locks a patient before
what hangs off it.
"""

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction
from django.db.models import Q
from django.dispatch import Signal

from patients.match_keys import found_anew
from patients.models import (
    KeptApart,
    LikelyDuplicate,
    Merge,
    MergeUndone,
    Operation,
    OperationMoved,
    Patient,
)
from patients.speaks_for import below, in_force

# Sent inside the transaction, when the records and the operations are one patient's or two
# patients' again: kept, merged, merge, at, by_id.
patients_merged = Signal()
merge_undone = Signal()


class MergeRefused(Exception):
    """These records cannot be merged, or this merge cannot be undone, as things stand."""


class SameRecord(MergeRefused):
    """A record cannot be merged with itself."""


class MergedAlready(MergeRefused):
    """One of the two was merged already; `record` is that one, `merge` what did it."""

    def __init__(self, record: Patient, merge: Merge) -> None:
        super().__init__("the record was merged already")
        self.record = record
        self.merge = merge


class SaidToBeTwo(MergeRefused):
    """Somebody said that the two, or records merged into them, are two people: `kept_apart`."""

    def __init__(self, kept_apart: KeptApart) -> None:
        super().__init__("the records are kept apart as two people")
        self.kept_apart = kept_apart


class UndoneAlready(MergeRefused):
    """The merge was undone already, as `undone` says."""

    def __init__(self, undone: MergeUndone) -> None:
        super().__init__("the merge was undone already")
        self.undone = undone


class LaterMergeFirst(MergeRefused):
    """The kept record was merged further by `later`, which is to be undone first."""

    def __init__(self, later: Merge) -> None:
        super().__init__("the kept record was merged into a third one since")
        self.later = later


def refusal(kept: Patient, merged: Patient) -> MergeRefused | None:
    """Return why these two cannot be merged now, or None when they can. Reads anew."""
    if kept.pk == merged.pk:
        return SameRecord("a record cannot be merged with itself")
    for record in (merged, kept):
        already = in_force().filter(merged=record).select_related("kept").first()
        if already:
            return MergedAlready(record, already)
    apart = _kept_apart(kept, merged)
    return SaidToBeTwo(apart) if apart else None


def undo_refusal(merge: Merge) -> MergeRefused | None:
    """Return why this merge cannot be undone now, or None when it can. Reads anew."""
    undone = MergeUndone.objects.filter(merge=merge).first()
    if undone:
        return UndoneAlready(undone)
    later = in_force().filter(merged=merge.kept_id).select_related("kept").first()
    return LaterMergeFirst(later) if later else None


def would_move(kept: Patient, merged: Patient) -> list[Operation]:
    """Return the operations that merging `merged` into `kept` would bring. Writes nothing."""
    return list(
        Operation.objects.filter(patient=merged)
        .exclude(patient=kept)
        .select_related("patient", "procedure")
        .order_by("or_date", "id")
    )


def would_return(merge: Merge) -> list[Operation]:
    """Return the operations that undoing a merge would give back. Writes nothing."""
    moved = OperationMoved.objects.filter(merge=merge, to_patient=merge.kept_id)
    return list(
        Operation.objects.filter(patient=merge.kept_id, pk__in=moved.values("operation"))
        .select_related("patient", "procedure")
        .order_by("or_date", "id")
    )


def merge(kept: Patient, merged: Patient, *, reason: str, at: datetime, by_id: int) -> Merge:
    """Merge a record into the one that is kept. Raises MergeRefused, by its kinds."""
    with transaction.atomic():
        kept, merged = _locked(kept, merged)
        refused = refusal(kept, merged)
        if refused:
            raise refused
        done = Merge.objects.create(
            kept=kept, merged=merged, reason=reason, recorded_at=at, by_id=by_id
        )
        _speaks_for(kept, merged)
        _move(Operation.objects.filter(patient=merged), done, merged, kept, at=at)
        LikelyDuplicate.objects.filter(Q(one=merged) | Q(other=merged)).delete()
        found_anew([kept.pk, merged.pk])
        patients_merged.send(sender=Merge, kept=kept, merged=merged, merge=done, at=at, by_id=by_id)
    return done


def undo_merge(merge: Merge, *, reason: str, at: datetime, by_id: int) -> MergeUndone:
    """Make two patients of them again. Raises MergeRefused, by its kinds.

    The operations that came with the merge go back; whatever was booked since stays.
    """
    with transaction.atomic():
        kept, merged = _locked(merge.kept, merge.merged)
        refused = undo_refusal(merge)
        if refused:
            raise refused
        undone = MergeUndone.objects.create(merge=merge, reason=reason, recorded_at=at, by_id=by_id)
        _speaks_for(merged, merged)
        _move(would_return(merge), merge, kept, merged, at=at)
        found_anew([kept.pk, merged.pk])
        merge_undone.send(sender=Merge, kept=kept, merged=merged, merge=merge, at=at, by_id=by_id)
    return undone


def _locked(one: Patient, other: Patient) -> tuple[Patient, Patient]:
    """Read and lock both, the lower id first whichever is asked for first."""
    rows = Patient.objects.select_for_update().filter(pk__in=[one.pk, other.pk]).order_by("pk")
    found = {row.pk: row for row in rows}
    return found[one.pk], found[other.pk]


def _speaks_for(patient: Patient, merged: Patient) -> None:
    """Let a patient speak for a record, and for what was merged into that before."""
    records = set(below([merged.pk])) - {patient.pk}
    Patient.objects.filter(pk__in=records).update(merged_into=patient)
    if patient == merged:
        Patient.objects.filter(pk=merged.pk).update(merged_into=None)


def _kept_apart(kept: Patient, merged: Patient) -> KeptApart | None:
    """What says that somebody on one side and somebody on the other are two people."""
    here, there = list(below([kept.pk])), list(below([merged.pk]))
    across = Q(one__in=here, other__in=there) | Q(one__in=there, other__in=here)
    return KeptApart.objects.filter(across, end__isnull=True).select_related("one", "other").first()


def _move(
    operations: Iterable[Operation], merge: Merge, before: Patient, after: Patient, *, at: datetime
) -> None:
    """Locked in one order, as they are wherever several of them are."""
    ids = sorted(operation.pk for operation in operations)
    moving = list(Operation.objects.select_for_update().filter(pk__in=ids).order_by("pk"))
    Operation.objects.filter(pk__in=[one.pk for one in moving]).update(patient=after)
    OperationMoved.objects.bulk_create(
        OperationMoved(
            operation=one, merge=merge, from_patient=before, to_patient=after, recorded_at=at
        )
        for one in moving
    )
