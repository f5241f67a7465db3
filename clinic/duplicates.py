"""Read the pairs of records that may be one person, and what was decided about pairs before."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Q, QuerySet

from clinic.comparison import Line, Side, compare, read_sides
from clinic.words import AGREES, WHY
from patients.duplicates import pairs
from patients.models import KeptApart, LikelyDuplicate, Merge, Patient
from patients.rules.identity import Why


@dataclass(frozen=True)
class Pair:
    """Two records that may be one person, the older one first, and why."""

    id: int
    one: Side
    other: Side
    agree: list[str]
    differ: list[str]
    lines: list[Line]


def read_pairs(rows: Sequence[LikelyDuplicate]) -> list[Pair]:
    """Read both records of each pair."""
    sides = read_sides([patient for row in rows for patient in (row.one, row.other)])
    found = []
    for row in rows:
        one, other = sides[row.one_id], sides[row.other_id]
        agree, differ = in_words(row.reasons)
        found.append(Pair(row.pk, one, other, agree, differ, compare(one, other)))
    return found


def in_words(reasons: Iterable[str]) -> tuple[list[str], list[str]]:
    """Return in words what of the two agrees and what differs."""
    # A code that an earlier release kept says nothing any more; the next comparison replaces it.
    known = [Why(code) for code in reasons if code in frozenset(Why)]
    return (
        [WHY[why] for why in known if why in AGREES],
        [WHY[why] for why in known if why not in AGREES],
    )


def pairs_of(patient: Patient) -> QuerySet[LikelyDuplicate]:
    """Return the pairs that a patient is in, to be looked at by a person."""
    return pairs().filter(Q(one=patient) | Q(other=patient)).select_related("one", "other")


def kept_apart() -> QuerySet[KeptApart]:
    """Return what is said to be two people now, the latest first."""
    rows = KeptApart.objects.filter(
        end__isnull=True, one__merged_into__isnull=True, other__merged_into__isnull=True
    )
    return rows.select_related("one", "other", "by").order_by("-recorded_at", "-id")


def merges(patient_ids: Collection[int] = ()) -> QuerySet[Merge]:
    """Return the merges, undone ones too, the latest first; of some patients, or all of them."""
    rows = Merge.objects.select_related("kept", "merged", "by", "undone__by")
    if patient_ids:
        rows = rows.filter(kept__in=patient_ids)
    return rows.order_by("-recorded_at", "-id")
