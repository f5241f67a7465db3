"""Take in a schedule message: keep it, and apply it or leave it waiting, in one transaction.

Whatever the format, a message becomes the row that a line of a file becomes, is compared with the
record by the same rule and written by the same code. What it needs beside that is here: it comes
once however often it is sent, it may come late, and nobody looks at a preview.
"""

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.db import transaction

from patients import programme, schedule_reading
from patients.clock import local_date
from patients.compare_message import ON_RECORD, compare, compare_all, ids_of
from patients.conflicts import take_turns
from patients.models import (
    IntakeMessage,
    IntakeStep,
    Procedure,
    Step,
)
from patients.rules.intake import STOPPED_AT, Fate, Judged
from patients.rules.message_formats import MessageFormat
from patients.rules.message_readers import READERS
from patients.rules.message_reading import Frame, Noted, NotTaken, Reading
from patients.rules.schedule_changes import Proposal, Verdict
from patients.rules.schedule_known import KnownProcedure, mrn_key
from patients.rules.schedule_procedures import Procedures
from patients.rules.schedule_reasons import Problem, Said
from patients.rules.schedule_rows import ScheduleRow
from patients.schedule_reading import words_of_row
from patients.write_schedule import MEANWHILE, MESSAGE, write

# How often it is tried anew when somebody wrote at the same time (fault 21).
TRIES = 3

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
        """The message as a row of a file: what waits or is refused was rejected by the file.

        So is what was set aside because somebody said that its procedure is not ours.
        """
        if self.step.step in (Step.WAITS, Step.REFUSED, Step.SET_ASIDE) and not self.repeated:
            return Verdict.REJECTED
        if self.step.step == Step.APPLIED and self.judged and self.judged.proposal:
            return self.judged.proposal.verdict
        return Verdict.UNCHANGED


class Conflict(Exception):
    """The sender has used this control id for another message before."""


CameOf = Taken | NotTaken | Conflict


@dataclass(frozen=True)
class Arrived:
    """A message as it came, how it came, and on which line of a file."""

    content: bytes
    source: str
    line: int = 1


def frame(*, at: datetime, line: int = 1) -> Frame:
    """Return what a reader has to know. Raises NotFounded."""
    zone = programme.current().zone
    procedures = [
        KnownProcedure(*values) for values in Procedure.objects.values_list("id", "code", "name")
    ]
    return Frame(
        zone, local_date(at, zone), Procedures(procedures), line, schedule_reading.of_senders()
    )


def take(
    content: bytes, *, format: MessageFormat, at: datetime, source: str, line: int = 1
) -> Taken:
    """Take in one message, `source` being how it came. Returns what came of it.

    Raises NotTaken for what is no schedule message, and Conflict; then nothing was written. Any
    error of the database goes through: the sender has to send again.
    """
    (came,) = take_all([Arrived(content, source, line)], format=format, at=at)
    if isinstance(came, Taken):
        return came
    raise came


def take_all(arrived: Sequence[Arrived], *, format: MessageFormat, at: datetime) -> list[CameOf]:
    """Take in messages in their order and in one transaction; as `take` says of each.

    Messages about different patients are taken in together, in a few queries however many.
    """
    setting = frame(at=at)
    came: dict[int, CameOf] = {}
    readings: list[tuple[int, Reading]] = []
    for place, one in enumerate(arrived):
        try:
            reading = READERS[format].read(one.content, replace(setting, line=one.line))
        except NotTaken as refusal:
            came[place] = refusal
        else:
            readings.append((place, reading))
    for last in (*[False] * (TRIES - 1), True):
        try:
            with transaction.atomic():
                for run in _runs(readings):
                    came |= _take_run(run, arrived, at=at)
            break
        except MEANWHILE:
            if last:
                raise
    return [came[place] for place in range(len(arrived))]


def _runs(readings: Sequence[tuple[int, Reading]]) -> Iterator[list[tuple[int, Reading]]]:
    """Part messages, in order, so that in each part no patient, operation or id comes twice."""
    run: list[tuple[int, Reading]] = []
    used: set[tuple[str, ...]] = set()
    for place, reading in readings:
        names: set[tuple[str, ...]] = {("id", reading.sender, reading.control_id)}
        if isinstance(reading.row, ScheduleRow):
            names.add(("patient", mrn_key(reading.row.mrn)))
            names.add(("case", reading.row.case_number.casefold()))
        if names & used:
            yield run
            run, used = [], set()
        run.append((place, reading))
        used |= names
    if run:
        yield run


def _take_run(
    run: Sequence[tuple[int, Reading]], arrived: Sequence[Arrived], *, at: datetime
) -> dict[int, CameOf]:
    came: dict[int, CameOf] = {}
    _take_turns([reading for _, reading in run])
    earlier = _earlier([reading for _, reading in run])
    new = []
    for place, reading in run:
        before = earlier.get((reading.sender, reading.control_id))
        if before is None:
            new.append((place, reading))
        elif before.message.sha256 == _digest(arrived[place].content):
            came[place] = Taken(before.message, before, reading, None, repeated=True)
        else:
            came[place] = Conflict()
    judged = compare_all([reading for _, reading in new], at=at)
    messages = IntakeMessage.objects.bulk_create(
        [_kept(reading, arrived[place], at=at) for place, reading in new]
    )
    written = _write(list(zip([reading for _, reading in new], judged, strict=True)), at=at)
    steps = IntakeStep.objects.bulk_create(
        [
            step_of(message, Step(one.fate), reading, one, ids, at=at, **_said(reading, one))
            for message, (_, reading), one, ids in zip(messages, new, judged, written, strict=True)
        ]
    )
    for message, step, (place, reading), one in zip(messages, steps, new, judged, strict=True):
        came[place] = Taken(message, step, reading, one)
    overtake([s.message for s in steps if s.step in ON_RECORD], at=at)
    return came


def _earlier(readings: Sequence[Reading]) -> dict[tuple[str, str], IntakeStep]:
    """Return the first steps of those that came before, by sender and control id."""
    messages = IntakeMessage.objects.filter(
        format__in={reading.format for reading in readings},
        sender__in={reading.sender for reading in readings},
        control_id__in=[reading.control_id for reading in readings],
    )
    ids = list(messages.values_list("pk", flat=True))  # by the unique index, and mostly none
    if not ids:
        return {}
    steps = IntakeStep.objects.filter(ends__isnull=True, message__in=ids)
    return {
        (step.message.sender, step.message.control_id): step
        for step in steps.select_related("message")
    }


def _kept(reading: Reading, arrived: Arrived, *, at: datetime) -> IntakeMessage:
    return IntakeMessage(
        format=reading.format,
        sender=reading.sender,
        control_id=reading.control_id,
        trigger=reading.trigger,
        case_number=_case_number(reading),
        sent_at=reading.sent_at,
        source=arrived.source[:200],
        sha256=_digest(arrived.content),
        content=arrived.content,
        received_at=at,
    )


def _write(
    judged: Sequence[tuple[Reading, Judged]], *, at: datetime
) -> list[tuple[int | None, int | None]]:
    """Write what is applied by itself; return of each the ids of patient and operation."""
    by_source: dict[str, list[Proposal]] = {}
    for reading, one in judged:
        if one.fate == Fate.APPLIED and one.proposal:
            by_source.setdefault(source_of(reading), []).append(one.proposal)
    written: dict[int, tuple[int, int]] = {}
    for source, proposals in by_source.items():
        written |= write(proposals, at=at, source=source, by_id=None)
    return [
        (one.proposal and written.get(one.proposal.line)) or ids_of(one.proposal)
        for _, one in judged
    ]


def step_of(
    message: IntakeMessage,
    step: Step,
    reading: Reading,
    judged: Judged,
    ids: tuple[int | None, int | None],
    *,
    at: datetime,
    ends: IntakeStep | None = None,
    by_id: int | None = None,
    note: str = "",
) -> IntakeStep:
    """Return what came of a message, not saved yet; `ids` are those of patient and operation."""
    return IntakeStep(
        message=message,
        step=step,
        ends=ends,
        reasons=reasons_of(reading, judged),
        note=note,
        patient_id=ids[0],
        operation_id=ids[1],
        recorded_at=at,
        by_id=by_id,
    )


def _said(reading: Reading, judged: Judged) -> dict[str, Any]:
    """Return who set a message aside, by what they had said of its procedure before."""
    if judged.fate != Fate.SET_ASIDE or not isinstance(reading.row, ScheduleRow):
        return {}
    said = schedule_reading.not_ours(reading.format, reading.sender, words_of_row(reading.row))
    return {"by_id": said.by_id, "note": schedule_reading.NOT_OURS} if said else {}


def source_of(reading: Reading) -> str:
    """Return how the history of patients and operations names a message."""
    return f"{MESSAGE} from {reading.sender}".removesuffix(" from ")[:200]


def reread(message: IntakeMessage, *, at: datetime) -> Reading:
    """Read a message that was kept, as of today."""
    read = READERS[MessageFormat(message.format)].read
    return read(bytes(message.content), frame(at=at))


def overtake(newer: Sequence[IntakeMessage], *, at: datetime) -> None:
    """End the waiting of older messages about the same operations: newer ones are on record."""
    sent = {one.case_number: one.sent_at for one in newer if one.case_number and one.sent_at}
    waiting = IntakeStep.objects.waiting().filter(message__case_number__in=sent)
    for step in waiting.select_related("message") if sent else ():
        before, after = step.message.sent_at, sent[step.message.case_number]
        if before is None or before >= after:
            continue
        reading = reread(step.message, at=at)
        judged = compare(reading, at=at)
        if judged.fate == Fate.OVERTAKEN:
            ids = ids_of(judged.proposal)
            step_of(step.message, Step.OVERTAKEN, reading, judged, ids, at=at, ends=step).save()


def reasons_of(reading: Reading, judged: Judged) -> Reasons:
    """Return everything that was said about a message, as it is kept."""
    notices = [
        said
        for said in (judged.proposal.notices if judged.proposal else ())
        if said.notice not in STOPPED_AT  # these are among the doubts
    ]
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


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _case_number(reading: Reading) -> str:
    return reading.row.case_number if isinstance(reading.row, ScheduleRow) else ""


def _take_turns(readings: Sequence[Reading]) -> None:
    """Messages about one patient go one after another."""
    numbers = {mrn_key(r.row.mrn) for r in readings if isinstance(r.row, ScheduleRow)}
    take_turns(
        *(
            int.from_bytes(
                hashlib.blake2b(one.encode(), digest_size=8).digest(), "big", signed=True
            )
            for one in numbers
        )
    )
