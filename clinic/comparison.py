"""Two records side by side: what each says, and where they agree and differ."""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from enum import StrEnum

from django.db.models import Count

from clinic.day_words import day
from clinic.words import BOOKING, NAME_KIND
from education.models import Clearance
from patients.models import Booking, Contact, Operation, OtherName, Patient
from patients.rules.identity import NameKind
from patients.rules.languages import name_of
from patients.rules.names import normal_name

NONE = "none on file"


class Alike(StrEnum):
    """How a fact of two records compares; NOT_SAID where one of them has nothing to compare."""

    SAME = "same"
    DIFFERS = "differs"
    NOT_SAID = "not_said"


@dataclass(frozen=True)
class Side:
    """One of the two records, with what belongs to it."""

    patient: Patient
    other_names: list[OtherName]
    operations: list[Operation]
    clearances: int
    contacts: int

    @property
    def open_operations(self) -> list[Operation]:
        return [operation for operation in self.operations if operation.is_open]


@dataclass(frozen=True)
class Line:
    """One fact, as each of the two records has it; each side is one text or more."""

    label: str
    one: list[str]
    other: list[str]
    alike: Alike = Alike.NOT_SAID


def read_sides(patients: Collection[Patient]) -> dict[int, Side]:
    """Read what belongs to each of these patients, by id; four queries for all of them."""
    ids = [patient.pk for patient in patients]
    names: dict[int, list[OtherName]] = defaultdict(list)
    for name in OtherName.objects.filter(patient__in=ids, end__isnull=True):
        names[name.patient_id].append(name)
    operations: dict[int, list[Operation]] = defaultdict(list)
    booked = Operation.objects.filter(patient__in=ids).select_related("procedure")
    for operation in booked.order_by("or_date", "id"):
        operations[operation.patient_id].append(operation)
    cleared = _count(
        Clearance.objects.filter(patient__in=ids, revocation__isnull=True)
        .values_list("patient")
        .annotate(Count("pk"))
    )
    contacts = _count(
        Contact.objects.standing()
        .filter(patient__in=ids)
        .order_by()
        .values_list("patient")
        .annotate(Count("pk"))
    )
    return {
        patient.pk: Side(
            patient,
            names[patient.pk],
            operations[patient.pk],
            cleared.get(patient.pk, 0),
            contacts.get(patient.pk, 0),
        )
        for patient in patients
    }


def compare(one: Side, other: Side) -> list[Line]:
    """Return the facts of two records, in the order in which they are read.

    The MRN is not among them: it names the record, at the head of its column.
    """
    left, right = one.patient, other.patient
    return [
        Line("Name", [left.full_name], [right.full_name], _names_alike(left, right)),
        *_other_names(one, other),
        Line(
            "Date of birth",
            [day(left.birth_date)],
            [day(right.birth_date)],
            _alike(left.birth_date, right.birth_date),
        ),
        _text("Email", left.email, right.email, str.casefold),
        _text("Phone", left.phone, right.phone, _digits),
        _text("Language", _language(left), _language(right), str),
        Line("Operations", _operations(one), _operations(other)),
        Line("Clearances", [str(one.clearances)], [str(other.clearances)]),
        Line("Contacts logged", [str(one.contacts)], [str(other.contacts)]),
    ]


def name_words(name: OtherName) -> str:
    """Return an other name in words: "formerly Ana Falk", "prefers Annie Ruiz"."""
    return f"{NAME_KIND[NameKind(name.kind)]} {name.given_names} {name.family_names}".strip()


def operation_words(operation: Operation) -> str:
    """Return an operation in words: procedure, OR date, booking."""
    dated = day(operation.or_date) if operation.or_date else "no OR date"
    return f"{operation.procedure.name}, {dated}, {BOOKING[Booking(operation.booking)]}"


def twice_booked(one: Side, other: Side) -> list[Operation]:
    """Return the open operations of `other` of a procedure of which `one` has an open one too."""
    booked = {o.procedure_id for o in one.open_operations}
    return [o for o in other.open_operations if o.procedure_id in booked]


def _other_names(one: Side, other: Side) -> list[Line]:
    left, right = ([name_words(name) for name in side.other_names] for side in (one, other))
    return [Line("Other names", left, right)] if left or right else []


def _operations(side: Side) -> list[str]:
    return [operation_words(operation) for operation in side.operations] or ["none"]


def _names_alike(one: Patient, other: Patient) -> Alike:
    return _alike(
        normal_name(one.given_names, one.family_names),
        normal_name(other.given_names, other.family_names),
    )


def _text(label: str, one: str, other: str, normal: Callable[[str], str]) -> Line:
    said = _alike(normal(one), normal(other)) if one and other else Alike.NOT_SAID
    return Line(label, [one or NONE], [other or NONE], said)


def _digits(phone: str) -> str:
    return "".join(char for char in phone if char.isdigit())


def _language(patient: Patient) -> str:
    return name_of(patient.language)


def _count(rows: Iterable[tuple[int, int]]) -> dict[int, int]:
    return dict(rows)


def _alike(one: object, other: object) -> Alike:
    return Alike.SAME if one == other else Alike.DIFFERS
