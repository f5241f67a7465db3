"""Under which names a patient is known: today's, other ones, and those of merged records."""

from collections.abc import Collection
from datetime import date
from typing import Any, NamedTuple

from django.db.models import QuerySet

from patients.models import OtherName, Patient
from patients.prepared import GivenIds, prepared
from patients.rules.identity import NameKind
from patients.speaks_for import spoken_for


class KnownName(NamedTuple):
    """A name as it was written; `birth_date` is that of the record which has the name."""

    patient_id: int  # who speaks for that record
    kind: NameKind
    given_names: str
    family_names: str
    birth_date: date
    mrn: str = ""  # of the record that has this name itself; empty for another name of it


def known_names(patient_ids: Collection[int]) -> list[KnownName]:
    """Return every name of these patients that takes part in matching; four queries.

    A merged record's name is one that the patient goes by as well: a former one. A patient who was
    merged is known under none.
    """
    speaks = spoken_for(_on_the_register(patients=patient_ids))
    born: dict[int, date] = {}
    found = []
    for pk, given, family, day, mrn in _written(records=speaks):
        born[pk] = day
        kind = NameKind.CURRENT if speaks[pk] == pk else NameKind.FORMER
        found.append(KnownName(speaks[pk], kind, given, family, day, mrn))
    for other in _others(records=speaks):
        record = other.patient_id
        found.append(
            KnownName(
                speaks[record],
                NameKind(other.kind),
                other.given_names,
                other.family_names,
                born[record],
            )
        )
    return found


@prepared
def _on_the_register() -> "QuerySet[Patient, int]":
    some = Patient.objects.on_the_register().filter(pk__among=GivenIds("patients"))
    return some.values_list("pk", flat=True)


@prepared
def _written() -> "QuerySet[Patient, Any]":
    rows = Patient.objects.filter(pk__among=GivenIds("records")).order_by("pk")
    return rows.values_list("pk", "given_names", "family_names", "birth_date", "mrn")


@prepared
def _others() -> QuerySet[OtherName]:
    return OtherName.objects.filter(patient__among=GivenIds("records"), end__isnull=True)
