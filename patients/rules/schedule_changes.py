"""What would a schedule change?  Rows and what is on record in; one proposal for each row out.

Nothing here reads a clock or a database, and nothing is guessed: rows that contradict each other
or the record are rejected with the reason, and set no date.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum

from patients.rules.languages import SOURCE_LANGUAGE
from patients.rules.names import name_tokens
from patients.rules.schedule_booking import booking_after
from patients.rules.schedule_columns import Column
from patients.rules.schedule_contradictions import contradictions
from patients.rules.schedule_known import CANCELLED, Known, KnownOperation, KnownPatient, mrn_key
from patients.rules.schedule_persons import another_person, family_name_is_new
from patients.rules.schedule_procedures import NOTHING_SAID, Meant, Procedures
from patients.rules.schedule_reasons import Notice, Problem, Reason, Said
from patients.rules.schedule_rows import Plan, ScheduleRow, Unreadable


class Verdict(StrEnum):
    CREATED = "created"
    UPDATED = "updated"
    UNCHANGED = "unchanged"
    REJECTED = "rejected"


Value = str | date | None


@dataclass(frozen=True)
class Change:
    """One fact that would be another one; `field` is the record's."""

    field: str
    old: Value
    new: Value


@dataclass(frozen=True)
class Proposal:
    """What one row would do. `patient` and `operation` are as on record, None when new."""

    line: int
    verdict: Verdict
    row: ScheduleRow | None = None
    problems: tuple[Problem, ...] = ()
    notices: tuple[Said, ...] = ()
    patient: KnownPatient | None = None
    operation: KnownOperation | None = None
    procedure_id: int | None = None
    or_date: date | None = None
    booking: str = ""
    patient_changes: tuple[Change, ...] = ()
    operation_changes: tuple[Change, ...] = ()

    @property
    def not_ours(self) -> bool:
        """Whether the row is rejected because somebody said that its procedure is not ours."""
        return [problem.reason for problem in self.problems] == [Reason.PROCEDURE_NOT_OURS]

    @property
    def moved(self) -> Change | None:
        """The OR date's change, if it has one."""
        return next((c for c in self.operation_changes if c.field == "or_date"), None)


def propose(
    rows: Sequence[ScheduleRow | Unreadable],
    known: Known,
    *,
    on: date,
    words: Meant = NOTHING_SAID,
) -> list[Proposal]:
    """Compare every row with what is on record on a day, earlier rows of the file included.

    One proposal for each row, in order. Problems found here name their column by `Column`. `words`
    is what somebody said that names of procedures mean.
    """
    procedures = Procedures(known.procedures, words)
    meant = {
        row.line: _procedure_of(row, procedures, known)
        for row in rows
        if isinstance(row, ScheduleRow)
    }
    ids = {line: found for line, found in meant.items() if isinstance(found, int)}
    readable = [row for row in rows if isinstance(row, ScheduleRow) and row.line in ids]
    speakers = {
        mrn_key(one.mrn): mrn_key(one.spoken_for_by) for one in known.patients if one.spoken_for_by
    }
    contradicting = contradictions(readable, ids, speakers)
    comparison = _Comparison(known, procedures, on)
    return [_propose_one(row, meant, contradicting, comparison) for row in rows]


def _procedure_of(row: ScheduleRow, procedures: Procedures, known: Known) -> int | Problem:
    """Return which procedure a row means: a message that names none means its operation's."""
    if row.procedure or row.procedure_code:
        return procedures.meant_by(row)
    case = row.case_number.casefold()
    found = (one.procedure_id for one in known.operations if one.case_number.casefold() == case)
    return next(found, None) or Problem(Reason.MISSING, Column.PROCEDURE)


def _propose_one(
    row: ScheduleRow | Unreadable,
    meant: Mapping[int, int | Problem],
    contradicting: Mapping[int, Problem],
    comparison: "_Comparison",
) -> Proposal:
    if isinstance(row, Unreadable):
        return Proposal(row.line, Verdict.REJECTED, problems=row.problems)
    procedure = meant[row.line]
    if isinstance(procedure, Problem):
        return _rejected(row, procedure)
    if row.line in contradicting:
        return _rejected(row, contradicting[row.line])
    return comparison.compare(row, procedure)


def _rejected(row: ScheduleRow, problem: Problem) -> Proposal:
    return Proposal(row.line, Verdict.REJECTED, row=row, problems=(problem,))


class _Comparison:
    """What is on record, kept up while the rows of a file are gone through one after another."""

    def __init__(self, known: Known, procedures: Procedures, on: date) -> None:
        self.procedures, self.on = procedures, on
        self.patients: dict[str, KnownPatient] = {}
        self.namesakes: dict[tuple[str, date], list[str]] = defaultdict(list)
        self.operations: list[KnownOperation] = []
        self.by_case: dict[str, int] = {}
        self.by_plan: dict[tuple[str, int], list[int]] = defaultdict(list)
        self.claimed: dict[int, tuple[object, ...]] = {}
        for patient in known.patients:
            self.remember_patient(patient)
        for operation in known.operations:
            self.remember_operation(operation, None)

    def compare(self, row: ScheduleRow, procedure_id: int) -> Proposal:
        record = self.patients.get(mrn_key(row.mrn))
        patient = self.speaker(record) if record else None
        if record and patient and _about_neither(row, record, patient):
            return _rejected(row, Problem(Reason.MRN_OF_SOMEBODY_ELSE, Column.MRN, record.mrn))
        place = self.find(row, patient.mrn if patient else row.mrn, procedure_id)
        if isinstance(place, Problem):
            return _rejected(row, place)
        operation = None if place is None else self.operations[place]
        or_date = row.or_date
        ended = row.plan in (Plan.CANCELLED, Plan.DONE)
        if or_date is None and operation and (ended or row.keeps_date):
            or_date = operation.or_date  # how it ended does not take its date away
        booked = booking_after(row.plan, operation, or_date, on=self.on)
        if isinstance(booked, Problem):
            return _rejected(row, replace(booked, column=Column.STATUS))
        booking, notice = booked
        # A merged record's facts are not mixed into the record that was kept.
        to_patient = patient_changes(row, patient) if patient and patient is record else ()
        proposal = Proposal(
            line=row.line,
            verdict=Verdict.CREATED,
            row=row,
            patient=patient,
            operation=operation,
            procedure_id=procedure_id,
            or_date=or_date,
            booking=booking,
            patient_changes=to_patient,
            operation_changes=self.operation_changes(
                row, operation, procedure_id, or_date, booking
            ),
        )
        notices = self.notices(proposal, row, [notice] if notice else [])
        if patient and patient is not record:
            notices = (Said(Notice.MERGED, patient.mrn), *notices)
        proposal = replace(proposal, verdict=_verdict(proposal), notices=notices)
        self.follow(proposal, row, place)
        return proposal

    def speaker(self, record: KnownPatient) -> KnownPatient:
        """Return whose operations a record's rows are about: its own, unless it was merged."""
        return self.patients[mrn_key(record.spoken_for_by)] if record.spoken_for_by else record

    def find(self, row: ScheduleRow, mrn: str, procedure_id: int) -> int | Problem | None:
        """Return which operation on record a row means; None for a new one.

        By case number; else the same patient's same procedure, on that day or the only open one.
        `mrn` is the patient's, which is the row's unless its record was merged.
        """
        mrn = mrn_key(mrn)
        if row.case_number and (place := self.by_case.get(row.case_number.casefold())) is not None:
            if self.operations[place].mrn != mrn:
                return Problem(Reason.CASE_OF_SOMEBODY_ELSE, Column.CASE_NUMBER, row.case_number)
            return place
        fitting = [
            place
            for place in self.by_plan[mrn, procedure_id]
            if not (row.case_number and self.operations[place].case_number)
            and self.claimed.get(place, _claim(row)) == _claim(row)
        ]
        still_open = [place for place in fitting if self.operations[place].is_open]
        same_day = [
            place
            for place in fitting
            if row.or_date and self.operations[place].or_date == row.or_date
        ]
        # A cancelled one without a date, told once more.
        gone = [
            place
            for place in fitting
            if row.plan == Plan.CANCELLED
            and row.or_date is None
            and (self.operations[place].booking, self.operations[place].or_date)
            == (CANCELLED, None)
        ]
        for places in ([p for p in same_day if p in still_open], same_day, still_open, gone):
            if len(places) == 1:
                return places[0]
            if places:
                return Problem(Reason.SEVERAL_OPERATIONS_FIT, Column.CASE_NUMBER, str(len(places)))
        return None

    def operation_changes(
        self,
        row: ScheduleRow,
        operation: KnownOperation | None,
        procedure_id: int,
        or_date: date | None,
        booking: str,
    ) -> tuple[Change, ...]:
        """An empty cell takes nothing away, except the OR date: postponed without a date."""
        if operation is None:
            return ()
        changes = [
            Change("or_date", operation.or_date, or_date),
            Change("booking", operation.booking, booking),
            Change("surgeon", operation.surgeon, row.surgeon or operation.surgeon),
            Change("facility", operation.facility, row.facility or operation.facility),
            Change(
                "procedure",
                self.procedures.name(operation.procedure_id),
                self.procedures.name(procedure_id),
            ),
        ]
        return tuple(change for change in changes if change.old != change.new)

    def notices(self, proposal: Proposal, row: ScheduleRow, found: list[Said]) -> tuple[Said, ...]:
        names_written = proposal.patient is None or any(
            change.field in ("given_names", "family_names") for change in proposal.patient_changes
        )
        found += [
            said for said in row.notices if said.notice != Notice.NAME_RECASED or names_written
        ]
        if proposal.patient is None:
            same = self.namesakes.get(_namesake_key(row))
            if same:
                found.append(Said(Notice.POSSIBLE_DUPLICATE, ", ".join(same)))
        elif names_written and family_name_is_new(row, proposal.patient):
            found.append(Said(Notice.NAME_CHANGED))
        is_open = proposal.booking in ("proposed", "confirmed", "on_hold")
        news = proposal.operation is None or proposal.moved is not None
        if news and is_open and proposal.or_date and proposal.or_date < self.on:
            found.append(Said(Notice.DATE_PASSED))
        key = (mrn_key(_whose(proposal, row)), proposal.procedure_id or 0)
        if (
            proposal.operation is None
            and is_open
            and any(self.operations[place].is_open for place in self.by_plan.get(key, ()))
        ):
            found.append(Said(Notice.ANOTHER_OPEN_OPERATION))
        return tuple(found)

    def follow(self, proposal: Proposal, row: ScheduleRow, place: int | None) -> None:
        """Take the proposal as done, for the rows below it."""
        patient, before = proposal.patient, proposal.operation
        if patient is None:
            patient = KnownPatient(
                None,
                row.mrn,
                row.given_names,
                row.family_names,
                row.birth_date,
                row.email,
                row.phone,
                row.language or SOURCE_LANGUAGE,
                row.name_key,
            )
            self.remember_patient(patient)
        elif proposal.patient_changes:
            new = {change.field: str(change.new) for change in proposal.patient_changes}
            self.patients[mrn_key(patient.mrn)] = replace(patient, **new)  # type: ignore[arg-type]
        if before is not None and not proposal.operation_changes and place is not None:
            self.claimed[place] = _claim(row)
            return
        after = KnownOperation(
            id=before.id if before else None,
            mrn=mrn_key(patient.mrn),
            procedure_id=proposal.procedure_id or 0,
            case_number=before.case_number if before else row.case_number,
            surgeon=row.surgeon or (before.surgeon if before else ""),
            facility=row.facility or (before.facility if before else ""),
            or_date=proposal.or_date,
            booking=proposal.booking,
            booked_by_file=True,
            version=before.version + 1 if before else 1,
        )
        self.claimed[self.remember_operation(after, place)] = _claim(row)

    def remember_patient(self, patient: KnownPatient) -> None:
        self.patients[mrn_key(patient.mrn)] = patient
        same = self.namesakes[_namesake_key(patient)]
        on_the_register = patient.spoken_for_by or patient.mrn
        if on_the_register not in same:
            same.append(on_the_register)

    def remember_operation(self, operation: KnownOperation, place: int | None) -> int:
        """Keep an operation, in the place of what it was before; return its place."""
        if place is None:
            place = len(self.operations)
            self.operations.append(operation)
        else:
            before = self.operations[place]
            self.by_plan[before.mrn, before.procedure_id].remove(place)
            self.operations[place] = operation
        self.by_plan[operation.mrn, operation.procedure_id].append(place)
        if operation.case_number:
            self.by_case[operation.case_number.casefold()] = place
        return place


def _about_neither(row: ScheduleRow, record: KnownPatient, speaker: KnownPatient) -> bool:
    """Say whether a row is about somebody else than its record, and than who speaks for that."""
    return another_person(row, record) and another_person(row, speaker)


def _whose(proposal: Proposal, row: ScheduleRow) -> str:
    return proposal.patient.mrn if proposal.patient else row.mrn


def patient_changes(row: ScheduleRow, patient: KnownPatient) -> tuple[Change, ...]:
    """Return what a row would correct in a patient's record; empty cells correct nothing."""
    changes = (
        []
        if _same_name(row, patient)
        else [
            Change("given_names", patient.given_names, row.given_names),
            Change("family_names", patient.family_names, row.family_names),
        ]
    )
    if row.email.casefold() != patient.email.casefold():
        changes.append(Change("email", patient.email, row.email or patient.email))
    if _digits(row.phone) != _digits(patient.phone):
        changes.append(Change("phone", patient.phone, row.phone or patient.phone))
    changes.append(Change("language", patient.language, row.language or patient.language))
    return tuple(change for change in changes if change.old != change.new)


def _same_name(row: ScheduleRow, patient: KnownPatient) -> bool:
    """Capitals tell nothing of accents and small letters, so they never overwrite them."""
    written = (row.given_names, row.family_names)
    recorded = (patient.given_names, patient.family_names)
    if written == recorded:
        return True
    return row.in_one_case and all(
        name_tokens(one) == name_tokens(other) for one, other in zip(written, recorded, strict=True)
    )


def _claim(row: ScheduleRow) -> tuple[object, ...]:
    """What a row says of its operation: only a row that says the same may mean the same one."""
    return row.case_number.casefold(), row.or_date, row.plan


def _digits(phone: str) -> str:
    return "".join(char for char in phone if char.isdigit() or char.isalpha())


def _namesake_key(person: ScheduleRow | KnownPatient) -> tuple[str, date]:
    return person.name_key, person.birth_date


def _verdict(proposal: Proposal) -> Verdict:
    if proposal.patient is None or proposal.operation is None:
        return Verdict.CREATED
    if proposal.patient_changes or proposal.operation_changes:
        return Verdict.UPDATED
    return Verdict.UNCHANGED
