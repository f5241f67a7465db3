"""Read what is on record for the rows of a schedule: a few queries, however many the rows."""

from collections.abc import Sequence

from django.db.models import CharField, Q, QuerySet, Value
from django.db.models.functions import Coalesce, Lower, Trim

from patients.batches import batches
from patients.models import Booking, Operation, OperationChange, Patient, Procedure
from patients.rules.schedule_known import (
    Known,
    KnownOperation,
    KnownPatient,
    KnownProcedure,
    mrn_key,
)
from patients.rules.schedule_rows import ScheduleRow
from patients.write_schedule import FILE, MESSAGE


def on_record(rows: Sequence[ScheduleRow]) -> Known:
    """Return everything on record that the rows could touch."""
    procedures = [
        KnownProcedure(*values)
        for values in Procedure.objects.order_by("name").values_list("id", "code", "name")
    ]
    patients = _known_patients(rows)
    keys = {mrn_key(row.mrn) for row in rows}
    keys |= {mrn_key(one.spoken_for_by) for one in patients if mrn_key(one.mrn) in keys}
    ids = [patient.id for patient in patients if patient.id and mrn_key(patient.mrn) in keys]
    cases = sorted({row.case_number for row in rows if row.case_number})
    return Known(procedures, patients, _known_operations(ids, cases))


def _known_patients(rows: Sequence[ScheduleRow]) -> list[KnownPatient]:
    # SQLite's LOWER leaves letters with accents alone, Python's does not: ask for both.
    mrns = {mrn_key(row.mrn) for row in rows} | {_ascii_lower(row.mrn) for row in rows}
    names = {row.name_key for row in rows}
    patients = Patient.objects.annotate(mrn_key=Lower(Trim("mrn")))
    found: dict[int, KnownPatient] = {}
    for some in batches(sorted(mrns)):
        found |= _as_known(patients.filter(mrn_key__in=some))
    for some in batches(sorted(names)):
        found |= _as_known(patients.filter(name_key__in=some))
    merged = [pk for pk, one in found.items() if one.spoken_for_by]
    for some_ids in batches(merged):
        found |= _as_known(patients.filter(merged_records__in=some_ids))
    return list(found.values())


def _as_known(patients: QuerySet[Patient]) -> dict[int, KnownPatient]:
    fields = (
        "id",
        "mrn",
        "given_names",
        "family_names",
        "birth_date",
        "email",
        "phone",
        "language",
        "name_key",
        "spoken_for_by",
    )
    rows = patients.annotate(
        spoken_for_by=Coalesce("merged_into__mrn", Value("", output_field=CharField()))
    )
    return {values[0]: KnownPatient(*values) for values in rows.values_list(*fields)}


def _known_operations(patient_ids: Sequence[int], cases: Sequence[str]) -> list[KnownOperation]:
    found: dict[int, Operation] = {}
    for some_ids in batches(patient_ids):
        found |= _operations(Q(patient_id__in=some_ids))
    for some_cases in batches(cases):
        found |= _operations(Q(case_number__in=some_cases))
    by_file = _booked_by_file(
        [
            one.pk
            for one in found.values()
            if one.booking not in (Booking.PROPOSED, Booking.CONFIRMED)
        ]
    )
    return [
        KnownOperation(
            id=one.pk,
            mrn=mrn_key(one.patient.mrn),
            procedure_id=one.procedure_id,
            case_number=one.case_number,
            surgeon=one.surgeon,
            facility=one.facility,
            or_date=one.or_date,
            booking=str(one.booking),
            booked_by_file=one.pk in by_file,
            version=one.version,
        )
        for one in sorted(found.values(), key=lambda one: one.pk)
    ]


def _operations(which: Q) -> dict[int, Operation]:
    return {one.pk: one for one in Operation.objects.filter(which).select_related("patient")}


def _booked_by_file(operation_ids: Sequence[int]) -> set[int]:
    """Return the operations whose present booking came from a schedule, not from a person."""
    booking: dict[int, str] = {}
    by_file: set[int] = set()
    for some in batches(operation_ids):
        changes = OperationChange.objects.filter(operation_id__in=some).order_by("version")
        for operation_id, now, source in changes.values_list("operation_id", "booking", "source"):
            if booking.get(operation_id) == now:
                continue
            booking[operation_id] = now
            by_file.discard(operation_id)
            if source.startswith((FILE, MESSAGE)):
                by_file.add(operation_id)
    return by_file


def _ascii_lower(mrn: str) -> str:
    return "".join(char.lower() if char.isascii() else char for char in mrn.strip())
