"""Take in a schedule message: keep it, and apply it or leave it waiting, in one transaction.

Whatever the format, a message becomes the row that a line of a file becomes, is compared with the
record by the same rule and written by the same code. What it needs beside that is here: it comes
once however often it is sent, it may come late, and nobody looks at a preview.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.db import IntegrityError, connection, transaction
from django.db.models import Max, Q

from patients import programme
from patients.clock import local_date
from patients.models import (
    IntakeMessage,
    IntakeStep,
    OperationChange,
    PatientChange,
    Procedure,
    Step,
)
from patients.rules.intake import Fate, History, Judged, judge, refused
from patients.rules.message_formats import MessageFormat
from patients.rules.message_readers import READERS
from patients.rules.message_reading import Frame, Noted, Reading
from patients.rules.schedule_changes import Proposal, Verdict, propose
from patients.rules.schedule_known import Known, KnownProcedure, mrn_key
from patients.rules.schedule_procedures import Procedures
from patients.rules.schedule_reasons import Problem, Said
from patients.rules.schedule_rows import ScheduleRow
from patients.schedule import ChangedMeanwhile
from patients.schedule_on_record import on_record
from patients.speaks_for import MergedMeanwhile
from patients.write_schedule import MESSAGE, write

# How often it is tried anew when somebody wrote at the same time (fault 21).
TRIES = 3
# What became of messages whose facts are on record: the newest of them is the newest fact.
ON_RECORD = (Step.APPLIED, Step.UNCHANGED)
MEANWHILE = (IntegrityError, ChangedMeanwhile, MergedMeanwhile)

Reasons = list[dict[str, str]]


@dataclass(frozen=True)
class Taken:
    """What came of a message as it came in; `repeated` when that was some time before."""

    message: IntakeMessage
    step: IntakeStep
    reading: Reading
    judged: Judged | None
    repeated: bool = False

    @property
    def verdict(self) -> Verdict:
        """The message as a row of a file: what waits or is refused was rejected by the file."""
        if self.step.step in (Step.WAITS, Step.REFUSED) and not self.repeated:
            return Verdict.REJECTED
        if self.step.step == Step.APPLIED and self.judged and self.judged.proposal:
            return self.judged.proposal.verdict
        return Verdict.UNCHANGED


class Conflict(Exception):
    """The sender has used this control id for another message before."""


@dataclass(frozen=True)
class Choice:
    """What a person says about a message that waits, in place of what it says itself."""

    or_date: date | None = None
    procedure_id: int | None = None


def frame(*, at: datetime, line: int = 1) -> Frame:
    """Return what a reader has to know. Raises NotFounded."""
    zone = programme.current().zone
    procedures = [
        KnownProcedure(*values) for values in Procedure.objects.values_list("id", "code", "name")
    ]
    return Frame(zone, local_date(at, zone), Procedures(procedures), line)


def take(
    content: bytes, *, format: MessageFormat, at: datetime, source: str, line: int = 1
) -> Taken:
    """Take in one message, `source` being how it came. Returns what came of it.

    Raises NotTaken for what is no schedule message, and Conflict; then nothing was written. Any
    error of the database goes through: the sender has to send again.
    """
    reading = READERS[format].read(content, frame(at=at, line=line))
    for _ in range(TRIES - 1):
        try:
            return _take_once(reading, content, at=at, source=source)
        except MEANWHILE:
            continue
    return _take_once(reading, content, at=at, source=source)


def _take_once(reading: Reading, content: bytes, *, at: datetime, source: str) -> Taken:
    digest = hashlib.sha256(content).hexdigest()
    with transaction.atomic():
        earlier = IntakeMessage.objects.filter(
            format=reading.format, sender=reading.sender, control_id=reading.control_id
        ).first()
        if earlier is not None:
            if earlier.sha256 != digest:
                raise Conflict
            first = IntakeStep.objects.get(message=earlier, ends__isnull=True)
            return Taken(earlier, first, reading, None, repeated=True)
        _take_turns(reading)
        judged = refused(reading) or compare(reading, at=at)
        message = IntakeMessage.objects.create(
            format=reading.format,
            sender=reading.sender,
            control_id=reading.control_id,
            trigger=reading.trigger,
            case_number=_case_number(reading),
            sent_at=reading.sent_at,
            source=source[:200],
            sha256=digest,
            content=content,
            received_at=at,
        )
        step = write_step(message, Step(judged.fate), reading, judged, at=at)
        if step.step in ON_RECORD:
            overtake(message, at=at)
    return Taken(message, step, reading, judged)


def compare(reading: Reading, *, at: datetime, choice: Choice | None = None) -> Judged:
    """Compare a readable message with the record as it is now, and judge it."""
    assert isinstance(reading.row, ScheduleRow)
    row = reading.row
    known = on_record([row])
    row = _by_a_known_number(reading, row, known)
    if choice:
        row = _chosen(row, choice, known)
    (proposal,) = propose([row], known, on=programme.local_day(at))
    return judge(reading, proposal, history_of(proposal), at=at)


def history_of(proposal: Proposal) -> History:
    """Return when the operation and the patient of a proposal were written before."""
    operation_id = proposal.operation.id if proposal.operation else None
    patient_id = proposal.patient.id if proposal.patient else None
    if patient_id is None:
        return History()
    about = Q(operation=operation_id) if operation_id else Q(pk__in=[])
    newest = IntakeStep.objects.filter(about | Q(patient=patient_id), step__in=ON_RECORD).aggregate(
        operation=Max("message__sent_at", filter=about), patient=Max("message__sent_at")
    )
    elsewhere = ~Q(source__startswith=MESSAGE, by__isnull=True)
    changed: dict[str, datetime | None] = {"operation": None, "patient": None}
    if proposal.operation_changes:
        changes = OperationChange.objects.filter(elsewhere, operation=operation_id)
        changed["operation"] = changes.aggregate(at=Max("recorded_at"))["at"]
    if proposal.patient_changes:
        corrections = PatientChange.objects.filter(elsewhere, patient=patient_id)
        changed["patient"] = corrections.aggregate(at=Max("recorded_at"))["at"]
    return History(
        newest_of_operation=newest["operation"],
        changed_operation=changed["operation"],
        newest_of_patient=newest["patient"],
        changed_patient=changed["patient"],
    )


def write_step(
    message: IntakeMessage,
    step: Step,
    reading: Reading,
    judged: Judged,
    *,
    at: datetime,
    ends: IntakeStep | None = None,
    by_id: int | None = None,
    note: str = "",
) -> IntakeStep:
    """Write what came of a message, and what it changes if it is applied."""
    proposal = judged.proposal
    patient_id = proposal.patient.id if proposal and proposal.patient else None
    operation_id = proposal.operation.id if proposal and proposal.operation else None
    if step == Step.APPLIED and proposal:
        source = f"{MESSAGE} {reading.trigger} from {reading.sender}"[:200]
        written = write([proposal], at=at, source=source, by_id=by_id)
        patient_id, operation_id = written[proposal.line]
    return IntakeStep.objects.create(
        message=message,
        step=step,
        ends=ends,
        reasons=reasons_of(reading, judged),
        note=note,
        patient_id=patient_id,
        operation_id=operation_id,
        recorded_at=at,
        by_id=by_id,
    )


def reread(message: IntakeMessage, *, at: datetime) -> Reading:
    """Read a message that was kept, as of today."""
    read = READERS[MessageFormat(message.format)].read
    return read(bytes(message.content), frame(at=at))


def overtake(newer: IntakeMessage, *, at: datetime) -> None:
    """End the waiting of older messages about the same operation: a newer one is on record."""
    waiting = IntakeStep.objects.waiting().filter(
        message__case_number=newer.case_number, message__sent_at__lt=newer.sent_at
    )
    for step in waiting.select_related("message") if newer.case_number and newer.sent_at else ():
        reading = reread(step.message, at=at)
        judged = refused(reading) or compare(reading, at=at)
        if judged.fate == Fate.OVERTAKEN:
            write_step(step.message, Step.OVERTAKEN, reading, judged, at=at, ends=step)


def reasons_of(reading: Reading, judged: Judged) -> Reasons:
    """Return everything that was said about a message, as it is kept."""
    notices = judged.proposal.notices if judged.proposal else ()
    return [
        *_as_kept("problem", judged.problems),
        *_as_kept("doubt", judged.doubts),
        *_as_kept("warning", reading.warnings),
        *_as_kept("notice", notices),
    ]


def _as_kept(kind: str, said: Iterable[Problem | Noted | Said]) -> Reasons:
    kept: Reasons = []
    for one in said:
        parts: dict[str, Any] = {"kind": kind, "detail": one.detail}
        if isinstance(one, Problem):
            parts |= {"what": str(one.reason), "where": str(one.column)}
        elif isinstance(one, Noted):
            parts |= {"what": str(one.what), "where": one.where}
        else:
            parts |= {"what": str(one.notice), "where": ""}
        kept.append(parts)
    return kept


def _case_number(reading: Reading) -> str:
    return reading.row.case_number if isinstance(reading.row, ScheduleRow) else ""


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


def _chosen(row: ScheduleRow, choice: Choice, known: Known) -> ScheduleRow:
    if choice.or_date:
        row = replace(row, or_date=choice.or_date, keeps_date=False)
    for procedure in known.procedures:
        if procedure.id == choice.procedure_id:
            row = replace(row, procedure=procedure.name, procedure_code=procedure.code)
    return row


def _take_turns(reading: Reading) -> None:
    """Messages about one patient go one after another; SQLite's write lock is held already."""
    if connection.vendor == "postgresql" and isinstance(reading.row, ScheduleRow):
        digest = hashlib.blake2b(mrn_key(reading.row.mrn).encode(), digest_size=8).digest()
        with connection.cursor() as cursor:
            lock = int.from_bytes(digest, signed=True)
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [lock])
