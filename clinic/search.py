"""Find patients and their operations by what a caller says: name, date of birth, MRN.

In any order and combination; what fits says `patients.rules.search_words`. Merged records are found
by the one that speaks for them.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from django.db.models import Case, Exists, IntegerField, OuterRef, Value, When

from patients.models import OPEN_BOOKINGS, Operation, Patient, PatientQuerySet
from patients.prepared import Prepared
from patients.rules.search_words import days_of, read_search
from patients.search_words import Shape, fits_shape, found_by, shape_of, words_of

MOST = 50  # operations or patients that are shown
IN_ORDER = ("family_names", "given_names", "id")


@dataclass(frozen=True)
class Found:
    """The operations, open ones first; the days that the search was read as; who has none."""

    operations: list[Operation]
    days: tuple[date, ...]
    without_operation: list[Patient]
    more: bool


def find_operations(text: str) -> Found:
    """Find the operations of every patient whom the text fits."""
    asked = read_search(text)
    if not asked:
        return Found([], (), [], more=False)
    operations_of, idle_of = _queries(shape_of(asked))
    words = words_of(asked)
    operations = operations_of(**words)
    return Found(operations[:MOST], days_of(asked), idle_of(**words), len(operations) > MOST)


@lru_cache(maxsize=100)
def _queries(shape: Shape) -> tuple[Prepared[Operation], Prepared[Patient]]:
    """Make the two queries of a search: the operations, and the patients who have none."""
    open_first = Case(
        When(booking__in=OPEN_BOOKINGS, then=Value(0)),
        default=Value(1),
        output_field=IntegerField(),
    )
    operations = (
        Operation.objects.filter(fits_shape(shape, patient="patient"))
        .select_related("patient", "procedure")
        .order_by(open_first, "or_date", "id")[: MOST + 1]
    )
    theirs = Operation.objects.filter(patient=OuterRef("pk"))
    idle = Patient.objects.on_the_register().filter(~Exists(theirs), fits_shape(shape))
    return (
        Prepared(lambda: operations, keep_plan=False),
        Prepared(lambda: idle.order_by(*IN_ORDER)[:MOST], keep_plan=False),
    )


def find_patients(text: str, *, without: Collection[int] = (), most: int = MOST) -> list[Patient]:
    """Find patients, former and preferred names included."""
    return _in_order(found_by(text).exclude(pk__in=without), most=most)


def _in_order(rows: PatientQuerySet, *, most: int = MOST) -> list[Patient]:
    return list(rows.order_by(*IN_ORDER)[:most])
