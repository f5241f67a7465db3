"""Say that two records are two people, and take it back."""

from datetime import datetime

from django.db import transaction
from django.db.models import QuerySet

from patients.models import KeptApart, KeptApartEnd, Patient
from patients.speaks_for import held


def in_force(one: Patient, other: Patient) -> QuerySet[KeptApart]:
    """Return what says that these two, in either order, are two people; empty if nothing does."""
    first, second = sorted([one.pk, other.pk])
    return KeptApart.objects.filter(one=first, other=second, end__isnull=True)


def keep_apart(
    one: Patient, other: Patient, *, note: str = "", at: datetime, by_id: int
) -> KeptApart:
    """Keep two records apart: the pair is not shown any more. Said already: that stands.

    Raises MergedMeanwhile if one of them was merged: its name and history are the other's now.
    """
    first, second = sorted([one.pk, other.pk])
    with transaction.atomic():
        for pk in (first, second):  # in the order in which a merge locks them
            held(pk)
        already = in_force(one, other).first()
        return already or KeptApart.objects.create(
            one_id=first, other_id=second, note=note, recorded_at=at, by_id=by_id
        )


def end(kept: KeptApart, *, at: datetime, by_id: int) -> bool:
    """Take it back: they may be one person after all. False if that was done already."""
    with transaction.atomic():
        _, ended_now = KeptApartEnd.objects.get_or_create(
            kept_apart=kept, defaults={"recorded_at": at, "by_id": by_id}
        )
    return ended_now
