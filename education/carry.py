"""Carry clearances to the record that a merge keeps, and take them back when it is undone.

A carried clearance is the same evidence on another record: the original stays where it is, and
whatever revokes it revokes the carried one too (education.clear). A clinician's sign-off of a late
one goes with it, for the operations that moved; it is still that clinician's.
"""

from collections.abc import Iterable
from datetime import datetime

from django.db.models import QuerySet

from education.clear import revoke_here
from education.models import Clearance, SecondOpinion, SignOff
from education.rules.standing import Evidence
from patients.models import Merge, Patient

UNDONE = "The merge that brought it here was undone: "
LONGEST = 500  # characters of a reason


def would_carry(kept: Patient, merged: Patient) -> list[Clearance]:
    """Return the clearances that merging `merged` into `kept` would carry. Writes nothing."""
    return list(_holding(merged).exclude(patient=kept).select_related("module", "edition"))


def would_take_back(merge: Merge) -> list[Clearance]:
    """Return the carried clearances that undoing a merge would revoke. Writes nothing."""
    return list(carried_by(merge).select_related("module", "edition"))


def stay_after(merge: Merge) -> list[Clearance]:
    """Return the unrevoked clearances that staff gave the kept record since a merge.

    They stay with it when the merge is undone: somebody should look whether they are its own. What
    came of a quiz goes by the decision about that (`part.undo_what_is_in_doubt`).
    """
    since = Clearance.objects.filter(
        patient=merge.kept_id, recorded_at__gte=merge.recorded_at, revocation__isnull=True
    )
    by_staff = since.filter(evidence=Evidence.TEACH_BACK, merge__isnull=True)
    return list(by_staff.select_related("module", "edition", "by"))


def with_carried(clearances: Iterable[Clearance]) -> list[Clearance]:
    """Return these clearances, and then what merges made of them on other records."""
    found: list[Clearance] = []
    layer = list(clearances)
    while layer:
        found += layer
        layer = list(Clearance.objects.filter(carried_from__in=layer).select_related("revocation"))
    return found


def carry(merge: Merge, *, at: datetime, by_id: int) -> list[Clearance]:
    """Write the merged record's unrevoked clearances on the kept record too, in the act's own
    transaction, after the operations moved.
    """
    return [_carry_one(original, merge, at=at, by_id=by_id) for original in _holding(merge.merged)]


def take_back(merge: Merge, *, reason: str, at: datetime, by_id: int) -> None:
    """Revoke what a merge carried; the originals stand as they stood."""
    for carried in carried_by(merge):
        revoke_here(carried, reason=f"{UNDONE}{reason}"[:LONGEST], at=at, by_id=by_id)


def carried_by(merge: Merge) -> QuerySet[Clearance]:
    """Return what a merge carried and nobody revoked."""
    return Clearance.objects.filter(merge=merge, revocation__isnull=True).order_by("pk")


def _holding(patient: Patient) -> QuerySet[Clearance]:
    return Clearance.objects.filter(patient=patient, revocation__isnull=True).order_by("pk")


def _carry_one(original: Clearance, merge: Merge, *, at: datetime, by_id: int) -> Clearance:
    carried = Clearance.objects.create(
        patient=merge.kept,
        module_id=original.module_id,
        edition_id=original.edition_id,
        cleared_on=original.cleared_on,
        evidence=original.evidence,
        carried_from=original,
        merge=merge,
        note=original.note,
        recorded_at=at,
        by_id=by_id,
    )
    for accepted in (
        SignOff.objects.standing()
        .filter(clearance=original, assignment__operation__patient=merge.kept_id)
        .select_related("second")
    ):
        _carry_sign_off(accepted, carried, at=at)
    return carried


def _carry_sign_off(accepted: SignOff, carried: Clearance, *, at: datetime) -> None:
    """The sign-off goes along, with the second clinician's agreement if there is one."""
    copy = SignOff.objects.create(
        assignment_id=accepted.assignment_id,
        clearance=carried,
        reason=accepted.reason,
        needs_second=accepted.needs_second,
        recorded_at=at,
        by_id=accepted.by_id,
    )
    second = getattr(accepted, "second", None)
    if second:
        SecondOpinion.objects.create(
            sign_off=copy,
            agrees=second.agrees,
            reason=second.reason,
            recorded_at=at,
            by_id=second.by_id,
        )
