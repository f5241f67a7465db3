"""What does an HL7 v2 scheduling message (SIU) say?  Text in, a typed reading out.

Fields are named as the standard does, SCH-11.4: field 11 of SCH, component 4. Sources: HL7 2.5.1
chapters 2 (control), 3 (PID) and 10 (scheduling); tables 0206, 0211 and 0278.

A sender's assigning authority in PID-3 is passed over: a programme has one numbering of patients.
Durations, notes and resources that are neither surgeon nor place are not read.
"""

from collections.abc import Mapping
from datetime import date

from patients.rules.hl7_text import Message, part, read_message
from patients.rules.hl7_times import Day, offset_of, read_day, read_instant
from patients.rules.message_formats import MessageFormat
from patients.rules.message_reading import (
    Doubt,
    Event,
    Frame,
    MessageRefusal,
    Noted,
    NotTaken,
    Reading,
    SaidDate,
    Warn,
)
from patients.rules.message_row import MessageRow
from patients.rules.schedule_columns import Column
from patients.rules.schedule_reasons import Reason
from patients.rules.schedule_rows import PLANS, Plan, ScheduleRow, Unreadable
from patients.rules.siu_resources import facility, procedure, surgeon, taken

EVENTS: Mapping[str, Event] = {
    "S12": Event.BOOKED,
    "S13": Event.MOVED,
    "S14": Event.CHANGED,
    "S15": Event.CANCELLED,
    "S17": Event.DELETED,
    "S26": Event.DID_NOT_COME,
}
# Table 0278, in small letters: the case changed between versions. None: a person has to look.
STATUSES: Mapping[str, Plan | None] = {
    "pending": Plan.SCHEDULED,
    "waitlist": Plan.ON_HOLD,
    "booked": Plan.SCHEDULED,
    "overbook": Plan.SCHEDULED,
    "started": Plan.SCHEDULED,
    "complete": Plan.DONE,
    "cancelled": Plan.CANCELLED,
    "deleted": Plan.CANCELLED,
    "dc": None,
    "blocked": None,
    "noshow": None,
}
# What each event lets the status be; anything else is a contradiction.
FITTING: Mapping[Event, frozenset[Plan]] = {
    Event.BOOKED: frozenset({Plan.SCHEDULED, Plan.ON_HOLD}),
    Event.MOVED: frozenset({Plan.SCHEDULED, Plan.ON_HOLD}),
    Event.CHANGED: frozenset({Plan.SCHEDULED, Plan.ON_HOLD, Plan.DONE}),
    Event.CANCELLED: frozenset({Plan.CANCELLED}),
    Event.DELETED: frozenset({Plan.CANCELLED}),
}
# Required in every version. A segment that lacks one may have its fields in the wrong places, as
# the standard's own example of S13 has.
REQUIRED = (6, 16, 20)
# Where the date of the operation can stand, beside SCH-11.4.
STARTS = (("TQ1", 7), ("AIS", 4), ("AIL", 6), ("AIP", 6))


def read_siu(content: bytes, frame: Frame) -> Reading:
    """Read one message. Raises NotTaken when it is no scheduling message that can be kept."""
    message = Message(read_message(content))
    control_id, trigger = _header(message)
    return _Reading(message, frame, control_id, trigger).reading()


def _header(message: Message) -> tuple[str, str]:
    control_id = message.value("MSH", 10)
    kind, trigger = message.value("MSH", 9, 1), message.value("MSH", 9, 2)
    if kind != "SIU":
        raise NotTaken(MessageRefusal.WRONG_TYPE, "MSH-9.1", kind[:10])
    if trigger not in EVENTS:
        raise NotTaken(MessageRefusal.WRONG_EVENT, "MSH-9.2", trigger[:10])
    if not message.value("MSH", 12).startswith("2."):
        raise NotTaken(MessageRefusal.WRONG_VERSION, "MSH-12", message.value("MSH", 12)[:10])
    if message.value("MSH", 11) not in ("P", ""):
        raise NotTaken(MessageRefusal.NOT_PRODUCTION, "MSH-11", message.value("MSH", 11)[:10])
    if not control_id or len(control_id) > 199:
        raise NotTaken(MessageRefusal.NO_CONTROL_ID, "MSH-10")
    return control_id, trigger


class _Reading:
    """One message being read; collects what is wrong with it and what is in doubt."""

    def __init__(self, message: Message, frame: Frame, control_id: str, trigger: str) -> None:
        self.message, self.frame = message, frame
        names = (message.whole("MSH", field) for field in (3, 4))
        self.sender = " ".join(names).strip()[:200]
        self.meant = frame.meant(MessageFormat.HL7_V2, self.sender)
        self.control_id, self.trigger, self.event = control_id, trigger, EVENTS[trigger]
        self.made = MessageRow(frame)
        self.doubts: list[Noted] = []
        self.sent = message.value("MSH", 7)

    def reading(self) -> Reading:
        if self.message.guessed:
            self.made.warnings.append(Noted(Warn.CHARACTER_SET_GUESSED, "MSH-18"))
        if self.message.count("PID") > 1:
            self.made.wrong(Reason.SEVERAL_PATIENTS, "PID")
        self.required()
        case, others = self.case_number()
        plan = self.plan()
        self.person()
        dates = self.dates()
        self.resources()
        row = self.row(plan, case)
        sent_at = read_instant(self.sent, zone=self.frame.zone)
        if sent_at is None:
            self.doubts.append(Noted(Doubt.NO_SEND_TIME, "MSH-7"))
        return Reading(
            format=MessageFormat.HL7_V2,
            sender=self.sender,
            control_id=self.control_id,
            trigger=self.trigger,
            event=self.event,
            sent_at=sent_at,
            row=row,
            dates=dates,
            other_case_numbers=others,
            doubts=tuple(self.doubts),
            warnings=tuple(self.made.warnings),
            meant=self.meant,
        )

    def required(self) -> None:
        self.doubts += [
            Noted(Doubt.REQUIRED_MISSING, f"SCH-{field}")
            for field in REQUIRED
            if not self.message.repetitions("SCH", field)
        ]

    def case_number(self) -> tuple[str, tuple[str, ...]]:
        """The filler's number of the appointment with its namespace; else the placer's."""
        for field in (2, 1):
            number, space = (self.message.value("SCH", field, part) for part in (1, 2))
            if number:
                whole = f"{number}^{space}" if space else number
                others = (number,) if space else ()
                return self.made.needed(Column.CASE_NUMBER, f"SCH-{field}", whole), others
        self.made.wrong(Reason.MISSING, "SCH-2")
        return "", ()

    def plan(self) -> Plan | None:
        written = self.message.value("SCH", 25)
        status = " ".join(written.casefold().split())
        if self.event == Event.DID_NOT_COME:
            self.doubts.append(Noted(Doubt.DID_NOT_COME, "MSH-9.2"))
            return None
        fitting = FITTING[self.event]
        by_event = Plan.SCHEDULED if Plan.SCHEDULED in fitting else Plan.CANCELLED
        if not status:
            self.made.warnings.append(Noted(Warn.STATUS_MISSING, "SCH-25"))
            return by_event
        if status in STATUSES:
            plan = STATUSES[status]
        else:
            plan = PLANS.get(status)
            if plan:
                self.made.warnings.append(Noted(Warn.STATUS_NOT_IN_TABLE, "SCH-25", written[:40]))
        if status == "noshow":
            self.doubts.append(Noted(Doubt.DID_NOT_COME, "SCH-25"))
        elif plan is None:
            self.doubts.append(Noted(Doubt.STATUS_UNKNOWN, "SCH-25", written[:40]))
        elif plan not in fitting:
            detail = f"{self.trigger} / {written[:40]}"
            self.doubts.append(Noted(Doubt.STATUS_CONTRADICTS, "SCH-25", detail))
        return plan if plan in fitting else None

    def person(self) -> None:
        made, message = self.made, self.message
        numbers = message.repetitions("PID", 3)
        typed = (one for one in numbers if part(one, 5) == "MR")
        chosen = next(typed, numbers[0] if numbers else [])
        made.mrn = made.needed(Column.MRN, "PID-3", part(chosen, 1))
        names = message.repetitions("PID", 5)
        legal = (one for one in names if part(one, 7) == "L")
        name = next(legal, names[0] if names else [])
        given, middle, suffix = (part(name, place) for place in (2, 3, 4))
        if len(middle.strip(".")) > 1:  # an initial is not how anybody writes their name
            given = f"{given} {middle}".strip()
        made.names("PID-5", given, f"{part(name, 1)} {suffix}".strip())
        born = message.value("PID", 7)
        if not born:
            made.wrong(Reason.MISSING, "PID-7")
        elif isinstance(day := self.day(born), Day):
            made.birth_date("PID-7", day.day)
        else:
            made.wrong(day, "PID-7", born[:40])

    def day(self, written: str) -> Day | Reason:
        return read_day(written, zone=self.frame.zone, sender_offset=offset_of(self.sent))

    def dates(self) -> tuple[SaidDate, ...]:
        """Return every date that is given. One day alone becomes the row's."""
        written = [("SCH-11.4", part(one, 4)) for one in self.message.repetitions("SCH", 11)]
        for name, field in STARTS:
            written += [
                (f"{name}-{field}", self.message.value(name, field, nth=nth))
                for nth in taken(self.message, name)
            ]
        said = [found for where, text in written if text and (found := self.said(where, text))]
        days: set[date] = {one.day for one in said}
        if self.event == Event.DID_NOT_COME:
            return tuple(said)
        if len(days) > 1:
            self.doubts.append(Noted(Doubt.DATES_DIFFER, ", ".join(one.where for one in said)))
        elif days:
            self.made.or_date = days.pop()
        elif self.event in (Event.BOOKED, Event.MOVED, Event.CHANGED):
            self.doubts.append(Noted(Doubt.NO_DATE, "SCH-11.4"))
        return tuple(said)

    def said(self, where: str, text: str) -> SaidDate | None:
        found = self.day(text)
        if isinstance(found, Reason):
            self.made.wrong(found, where, text[:40])
            return None
        if found.other:
            detail = f"{found.day.isoformat()} / {found.other.isoformat()}"
            self.doubts.append(Noted(Doubt.ZONE_UNCLEAR, where, detail))
        return SaidDate(where, found.day) if self.made.may_be_or_date(where, found.day) else None

    def resources(self) -> None:
        procedures = self.frame.procedures.with_words(self.meant)
        self.made.procedure, several = procedure(self.message, procedures)
        if several:
            self.doubts.append(Noted(Doubt.SEVERAL_PROCEDURES, "AIS-3", several))
        for name in ("AIS", "AIL", "AIP"):
            if len(taken(self.message, name, shifted=True)) > len(taken(self.message, name)):
                self.doubts.append(Noted(Doubt.SHIFTED, f"{name}-2"))

    def row(self, plan: Plan | None, case: str) -> "ScheduleRow | Unreadable":
        made, message = self.made, self.message
        where, name = surgeon(message)
        phone, email = _reached_by(message)
        return made.row(
            plan=plan,
            case_number=case,
            email=made.optional(Column.EMAIL, "PID-13.4", email),
            phone=made.optional(Column.PHONE, "PID-13.1", phone),
            language=made.language(message.value("PID", 15)),
            surgeon=made.optional(Column.SURGEON, where, name),
            facility=made.optional(Column.FACILITY, "AIL-3", facility(message)),
        )


def _reached_by(message: Message) -> tuple[str, str]:
    """Return the phone number and the email address of PID-13: .4 where .3 says Internet."""
    phone = email = ""
    for one in message.repetitions("PID", 13):
        if part(one, 3).casefold() in ("internet", "x.400") or part(one, 2) == "NET":
            email = email or part(one, 4)
        else:
            number = part(one, 1) or part(one, 12) or f"{part(one, 6)}{part(one, 7)}"
            phone = phone or number
    return phone, email
