"""Find patients and their operations by what a caller says: name, date of birth, MRN.

In any order and combination; what fits says `patients.rules.search_words`. Merged records are found
by the one that speaks for them.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from django.db.models import Case, Exists, IntegerField, OuterRef, Value, When

from patients.models import OPEN_BOOKINGS, Operation, Patient, PatientQuerySet
from patients.rules.search_words import days_of, read_search
from patients.search_words import fits, found_by

MOST = 50  # operations or patients that are shown


@dataclass(frozen=True)
class Found:
    """The operations, open ones first; the days that the search was read as; who has none."""

    operations: list[Operation]
    days: tuple[date, ...]
    without_operation: list[Patient]
    more: bool


def find_operations(text: str) -> Found:
    """Find the operations of every patient whom the text fits."""
    open_first = Case(
        When(booking__in=OPEN_BOOKINGS, then=Value(0)),
        default=Value(1),
        output_field=IntegerField(),
    )
    rows = (
        Operation.objects.filter(fits(text, patient="patient"))
        .select_related("patient", "procedure")
        .order_by(open_first, "or_date", "id")
    )
    operations = list(rows[: MOST + 1])
    has_one = Operation.objects.filter(patient=OuterRef("pk"))
    idle = _in_order(found_by(text).filter(~Exists(has_one)))
    days = days_of(read_search(text))
    return Found(operations[:MOST], days, idle, len(operations) > MOST)


def find_patients(text: str, *, without: Collection[int] = (), most: int = MOST) -> list[Patient]:
    """Find patients, former and preferred names included."""
    return _in_order(found_by(text).exclude(pk__in=without), most=most)


def _in_order(rows: PatientQuerySet, *, most: int = MOST) -> list[Patient]:
    return list(rows.order_by("family_names", "given_names", "id")[:most])
