"""Find operations by the patient's name, date of birth or MRN, as a caller says them."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from django.db.models import Case, IntegerField, Q, Value, When

from patients.models import OPEN_BOOKINGS, MatchName, Operation, Patient
from patients.rules.names import name_tokens
from patients.rules.schedule_dates import read_date

LONGEST = 100  # characters of a search that are read
MOST = 50  # operations that are shown


@dataclass(frozen=True)
class Found:
    """The operations, open ones first; the days that the search was read as; who has none."""

    operations: list[Operation]
    days: tuple[date, ...]
    without_operation: list[Patient]
    more: bool


def days_meant(text: str) -> tuple[date, ...]:
    """Return the days that a text can mean, day first and month first; none if it is no date."""
    read = [read_date(text, day_first=day_first) for day_first in (False, True)]
    return tuple(dict.fromkeys(day for day in read if isinstance(day, date)))


def find_operations(text: str) -> Found:
    """Find the operations of every patient whose name, date of birth or MRN fits the text.

    Merged records are found by the one that speaks for them.
    """
    text = text[:LONGEST].replace("\x00", "").strip()  # PostgreSQL takes no NUL
    days = days_meant(text)
    fits = _fits(text, days)
    people = Patient.objects.on_the_register().filter(fits | speaks_for_one(fits))
    open_first = Case(
        When(booking__in=OPEN_BOOKINGS, then=Value(0)),
        default=Value(1),
        output_field=IntegerField(),
    )
    rows = (
        Operation.objects.filter(patient__in=people.values("pk"))
        .select_related("patient", "procedure")
        .order_by(open_first, "or_date", "id")
    )
    operations = list(rows[: MOST + 1])
    idle = people.filter(operations__isnull=True).order_by("family_names", "given_names", "id")
    return Found(operations[:MOST], days, list(idle[:MOST]), len(operations) > MOST)


def find_patients(text: str, *, without: Collection[int] = ()) -> list[Patient]:
    """Find patients by name, also a former or preferred one, or by MRN or date of birth.

    Merged records are found by the one that speaks for them.
    """
    text = text[:LONGEST].replace("\x00", "").strip()  # PostgreSQL takes no NUL
    if not text:
        return []
    fits = _fits(text, days_meant(text))
    words = name_tokens(text)
    if words:
        named = MatchName.objects.all()
        for word in words:
            named = named.filter(Q(given__contains=word) | Q(family__contains=word))
        fits |= Q(pk__in=named.values("patient"))
    fits |= speaks_for_one(Q(mrn__iexact=text))
    rows = Patient.objects.on_the_register().filter(fits).exclude(pk__in=without)
    return list(rows.order_by("family_names", "given_names", "id")[:MOST])


def speaks_for_one(fits: Q, *, patient: str = "pk") -> Q:
    """Return what picks the patients who speak for a merged record that fits.

    `patient` is the way to the patient from whatever is picked.
    """
    merged = Patient.objects.filter(fits, merged_into__isnull=False)
    return Q(**{f"{patient}__in": merged.values("merged_into")})


def _fits(text: str, days: tuple[date, ...]) -> Q:
    fits = Q(mrn__iexact=text) | Q(birth_date__in=days)
    words = name_tokens(text)
    if days or not words:
        return fits
    by_name = Q()
    for word in words:
        by_name &= Q(name_key__contains=word)
    return fits | by_name | Q(mrn__istartswith=text)
