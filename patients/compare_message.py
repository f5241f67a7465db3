"""Compare schedule messages with what is on record, and judge them. Nothing here writes."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import partial
from typing import Any

from django.db.models import Max, Q, QuerySet

from patients import programme
from patients.models import IntakeStep, OperationChange, PatientChange, Step
from patients.rules.intake import History, Judged, judge, refused
from patients.rules.message_reading import Reading
from patients.rules.schedule_changes import Proposal, propose
from patients.rules.schedule_known import Known, mrn_key
from patients.rules.schedule_procedures import Meant
from patients.rules.schedule_rows import ScheduleRow
from patients.schedule_on_record import on_record
from patients.write_schedule import MESSAGE

# What became of messages whose facts are on record: the newest of them is the newest fact.
ON_RECORD = (Step.APPLIED, Step.UNCHANGED)


@dataclass(frozen=True)
class Choice:
    """What a person says about a message that waits, in place of what it says itself."""

    or_date: date | None = None
    procedure_id: int | None = None


def compare(reading: Reading, *, at: datetime, choice: Choice | None = None) -> Judged:
    """Compare one message with the record as it is now, and judge it."""
    return compare_all([reading], at=at, choice=choice)[0]


def compare_all(
    readings: Sequence[Reading], *, at: datetime, choice: Choice | None = None
) -> list[Judged]:
    """Compare messages about different patients with the record as it is now; judge each."""
    readable = {
        place: (reading, reading.row)
        for place, reading in enumerate(readings)
        if isinstance(reading.row, ScheduleRow)
    }
    known = on_record([row for _, row in readable.values()])
    rows = {
        # The place stands in for the line: lines of two files may be the same.
        place: replace(_chosen(_by_a_known_number(reading, row, known), choice, known), line=place)
        for place, (reading, row) in readable.items()
    }
    found = {
        one.line: one
        for meant, some in _by_what_was_said(rows, readings)
        for one in propose(some, known, on=programme.local_day(at), words=meant)
    }
    histories = histories_of(list(found.values()))
    ours = {one.case_number.casefold() for one in known.operations}
    judged = []
    for place, reading in enumerate(readings):
        if place not in found:
            judged.append(refused(reading))
            continue
        case = rows[place].case_number.casefold()
        history = replace(histories[place], case_known=case in ours)
        one = judge(reading, found[place], history, at=at)
        judged.append(one)
    return judged


def _by_what_was_said(
    rows: Mapping[int, ScheduleRow], readings: Sequence[Reading]
) -> Iterator[tuple[Meant, list[ScheduleRow]]]:
    """Part the rows by what their senders' names of procedures mean; mostly nothing was said."""
    parted: list[tuple[Meant, list[ScheduleRow]]] = []
    for place, row in rows.items():
        meant = readings[place].meant
        same = next((some for other, some in parted if other == meant), None)
        if same is None:
            parted.append((meant, same := []))
        same.append(row)
    yield from parted


def histories_of(proposals: Sequence[Proposal]) -> dict[int, History]:
    """Return when each proposal's operation and patient were written before, by its line."""
    operations = [p.operation.id for p in proposals if p.operation and p.operation.id]
    patients = [p.patient.id for p in proposals if p.patient and p.patient.id]
    elsewhere = ~Q(source__startswith=MESSAGE, by__isnull=True)
    taken = IntakeStep.objects.filter(step__in=ON_RECORD)
    newest_of = partial(_latest, value="message__sent_at")
    changed_at = partial(_latest, value="recorded_at")
    of_operation = newest_of(taken.filter(operation__in=operations), "operation", operations)
    of_patient = newest_of(taken.filter(patient__in=patients), "patient", patients)
    moved = [p.operation.id for p in proposals if p.operation and p.operation_changes]
    changes = OperationChange.objects.filter(elsewhere, operation__in=moved)
    corrected = [p.patient.id for p in proposals if p.patient and p.patient_changes]
    corrections = PatientChange.objects.filter(elsewhere, patient__in=corrected)
    changed_operation = changed_at(changes, "operation", moved)
    changed_patient = changed_at(corrections, "patient", corrected)
    return {
        p.line: History(
            newest_of_operation=of_operation.get(p.operation.id) if p.operation else None,
            changed_operation=changed_operation.get(p.operation.id) if p.operation else None,
            newest_of_patient=of_patient.get(p.patient.id) if p.patient else None,
            changed_patient=changed_patient.get(p.patient.id) if p.patient else None,
        )
        for p in proposals
    }


def _latest(
    rows: QuerySet[Any], about: str, ids: Sequence[int | None], *, value: str
) -> dict[int | None, datetime]:
    """Return by what the rows are about the latest of a value; no query for nothing."""
    if not ids:
        return {}
    return dict(rows.order_by().values_list(about).annotate(latest=Max(value)))


def ids_of(proposal: Proposal | None) -> tuple[int | None, int | None]:
    """Return the ids of the patient and the operation that are on record for a proposal."""
    if proposal is None:
        return None, None
    return (
        proposal.patient.id if proposal.patient else None,
        proposal.operation.id if proposal.operation else None,
    )


def _by_a_known_number(reading: Reading, row: ScheduleRow, known: Known) -> ScheduleRow:
    """Name the operation as it is on record, if a file has named it without its namespace."""
    on_file = {one.case_number.casefold(): one for one in known.operations if one.case_number}
    if row.case_number.casefold() in on_file:
        return row
    speakers = {mrn_key(one.mrn): mrn_key(one.spoken_for_by) for one in known.patients}
    mine = {mrn_key(row.mrn), speakers.get(mrn_key(row.mrn), "")}
    for number in reading.other_case_numbers:
        operation = on_file.get(number.casefold())
        if operation and operation.mrn in mine:
            return replace(row, case_number=operation.case_number)
    return row


def _chosen(row: ScheduleRow, choice: Choice | None, known: Known) -> ScheduleRow:
    if choice is None:
        return row
    if choice.or_date:
        row = replace(row, or_date=choice.or_date, keeps_date=False)
    for procedure in known.procedures:
        if procedure.id == choice.procedure_id:
            row = replace(row, procedure=procedure.name, procedure_code=procedure.code)
    return row
