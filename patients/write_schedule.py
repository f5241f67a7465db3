"""Write what proposals of a schedule stand for, through the acts; whatever brought the schedule."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.db import IntegrityError

from patients import other_names, register, schedule
from patients.models import Booking, Operation, Patient, Procedure
from patients.rules.languages import SOURCE_LANGUAGE
from patients.rules.schedule_changes import Proposal, Verdict
from patients.rules.schedule_known import KnownPatient, mrn_key
from patients.rules.schedule_reasons import Notice
from patients.rules.schedule_rows import ScheduleRow
from patients.speaks_for import MergedMeanwhile, held_all

# How the history of patients and operations names where a schedule came from.
FILE, MESSAGE = "schedule file", "schedule message"

# Somebody wrote between the reading and the writing of a schedule.
MEANWHILE = (
    IntegrityError,
    schedule.ChangedMeanwhile,
    register.CorrectedMeanwhile,
    MergedMeanwhile,
)


def write(
    proposals: Iterable[Proposal], *, at: datetime, source: str, by_id: int | None
) -> dict[int, tuple[int, int]]:
    """Do what the created and updated ones say; return by line the ids of patient and operation.

    Belongs into the caller's transaction. Raises one of MEANWHILE when somebody wrote since the
    proposals were made.
    """
    return _Writing(proposals, at=at, source=source, by_id=by_id).write()


class _Writing:
    """The acts that proposals stand for: patients first, then operations, each kind at once.

    A later row of the file may correct a patient whom an earlier one enrols; the acts take many
    corrections of one record in the rows' order.
    """

    def __init__(
        self, proposals: Iterable[Proposal], *, at: datetime, source: str, by_id: int | None
    ) -> None:
        self.proposals = [
            (p, p.row)
            for p in proposals
            if p.row is not None and p.verdict in (Verdict.CREATED, Verdict.UPDATED)
        ]
        self.how: dict[str, Any] = {"at": at, "source": source, "by_id": by_id}
        self.procedures = Procedure.objects.in_bulk()
        self.ids = {
            mrn_key(p.patient.mrn): p.patient.id
            for p, _ in self.proposals
            if p.patient and p.patient.id
        }

    def write(self) -> dict[int, tuple[int, int]]:
        self.hold()
        self.enrol()
        self.correct()
        booked = self.book()
        self.change()
        return {
            p.line: (
                self.whose(p, row),
                booked.get(p.line) or (p.operation.id if p.operation else None) or 0,
            )
            for p, row in self.proposals
        }

    def whose(self, proposal: Proposal, row: ScheduleRow) -> int:
        """Return the id of the record that speaks for the row's, where that was merged."""
        return self.ids[mrn_key(proposal.patient.mrn if proposal.patient else row.mrn)]

    def hold(self) -> None:
        """Lock who is on record. What the rows were held against must stand still: somebody may
        have corrected the record into another person's.
        """
        compared: dict[int, KnownPatient] = {}
        for p, _ in self.proposals:
            if p.patient and p.patient.id:
                # A later row of the file has it as the earlier ones will leave it.
                compared.setdefault(p.patient.id, p.patient)
        for pk, patient in held_all(compared).items():
            if any(getattr(patient, f) != getattr(compared[pk], f) for f in register.FIELDS):
                raise register.CorrectedMeanwhile

    def enrol(self) -> None:
        new = [
            Patient(
                mrn=row.mrn,
                given_names=row.given_names,
                family_names=row.family_names,
                birth_date=row.birth_date,
                email=row.email,
                phone=row.phone,
                language=row.language or SOURCE_LANGUAGE,
            )
            for proposal, row in self.proposals
            if proposal.patient is None
        ]
        register.enrol_all(new, **self.how)
        self.ids |= {mrn_key(patient.mrn): patient.pk for patient in new}

    def correct(self) -> None:
        changed = [(p, row) for p, row in self.proposals if p.patient_changes]
        renamed = {
            self.whose(p, row): None
            for p, row in changed
            if any(said.notice == Notice.NAME_CHANGED for said in p.notices)
        }
        before = Patient.objects.in_bulk(list(renamed))
        after = register.correct_all(
            [
                (self.whose(p, row), {c.field: c.new for c in p.patient_changes})
                for p, row in changed
            ],
            **self.how,
        )
        for pk in renamed:
            # A wholly new family name: the earlier one was right at its time.
            other_names.keep_former(after[pk], before[pk], **self.how)

    def book(self) -> dict[int, int]:
        new = {
            proposal.line: Operation(
                patient_id=self.whose(proposal, row),
                procedure=self.procedures[proposal.procedure_id or 0],
                or_date=proposal.or_date,
                surgeon=row.surgeon,
                facility=row.facility,
                case_number=row.case_number,
                booking=Booking(proposal.booking),
            )
            for proposal, row in self.proposals
            if proposal.operation is None
        }
        schedule.book_all(list(new.values()), **self.how)
        return {line: operation.pk for line, operation in new.items()}

    def change(self) -> None:
        changes = [
            (p.operation.id, p.operation.version, self.planned(p))
            for p, _ in self.proposals
            if p.operation and p.operation.id and p.operation_changes
        ]
        schedule.change_all(changes, **self.how)

    def planned(self, proposal: Proposal) -> dict[str, Any]:
        new: dict[str, Any] = {c.field: c.new for c in proposal.operation_changes}
        if "procedure" in new:
            new["procedure"] = self.procedures[proposal.procedure_id or 0]
        if "booking" in new:
            new["booking"] = Booking(new["booking"])
        return new
