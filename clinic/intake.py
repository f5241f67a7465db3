"""What the intake pages show: a message beside the record, and why it waits, in words."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from clinic import words
from clinic.day_words import day
from patients.compare_message import ON_RECORD
from patients.intake import reasons_of
from patients.message_words import EVENTS, STEPS, reason_words
from patients.models import Booking, IntakeMessage, IntakeStep, Step
from patients.rules.intake import Fate
from patients.rules.languages import name_of
from patients.rules.message_reading import Reading
from patients.rules.schedule_changes import Proposal, Verdict
from patients.rules.schedule_columns import Column
from patients.rules.schedule_known import KnownOperation, KnownPatient
from patients.rules.schedule_reasons import Problem, Reason
from patients.rules.schedule_rows import Plan, ScheduleRow
from patients.schedule_words import change_words
from patients.settle_message import Look

PLANS = {
    Plan.SCHEDULED: "scheduled",
    Plan.ON_HOLD: "on hold",
    Plan.DONE: "done",
    Plan.CANCELLED: "cancelled",
}
# What a person can mend by saying which procedure it is.
BY_PROCEDURE = frozenset(
    {Reason.PROCEDURE_UNKNOWN, Reason.PROCEDURE_NOT_OURS, Reason.PROCEDURE_CONTRADICTS}
)
# A word that is not one of ours: what it means can be remembered.
BY_WORD = frozenset({Reason.PROCEDURE_UNKNOWN, Reason.PROCEDURE_NOT_OURS})
# What "scheduled" in a message takes back nothing of.
GOES_ON = (Booking.PROPOSED, Booking.CONFIRMED)
NONE = "—"


@dataclass(frozen=True)
class Why:
    """One thing that is said about a message."""

    where: str
    what: str
    fix: str


@dataclass(frozen=True)
class Fact:
    """One fact: as the message says it, and as it is on record."""

    label: str
    said: str
    recorded: str
    same: bool = False

    @property
    def differs(self) -> bool:
        """Whether both say something, and not the same."""
        both = NONE not in (self.said, self.recorded)
        return both and self.said != self.recorded and not self.same


@dataclass(frozen=True)
class Entry:
    """One message of the list."""

    step: IntakeStep
    event: str
    who: str
    why: str
    state: str


def entry(step: IntakeStep, reading: Reading, procedures: Mapping[int, str]) -> Entry:
    """Return a message as the list shows it, by what was said when the step was taken."""
    row = reading.row
    who = f"{row.given_names} {row.family_names}".strip() if isinstance(row, ScheduleRow) else ""
    said = [
        reason_words(kept, procedures)
        for kept in step.reasons
        if kept["kind"] in ("problem", "doubt")
    ]
    told = (f"{where}: {what}" if "-" in where else what for where, what, _ in said)
    why = step.note or " ".join(dict.fromkeys(told))
    return Entry(step, EVENTS[reading.event], who, why, STEPS[Step(step.step)])


def whys(look: Look, procedures: Mapping[int, str]) -> tuple[list[Why], list[Why]]:
    """Return why a message waits as the record is now, and what else is worth saying."""
    kept = reasons_of(look.reading, look.judged)
    first = ("problem", "doubt")
    said = [(one["kind"] in first, Why(*reason_words(one, procedures))) for one in kept]
    return [why for ahead, why in said if ahead], [why for ahead, why in said if not ahead]


def facts(look: Look, procedures: Mapping[int, str]) -> list[Fact]:
    """Lay what the message says beside what is on record."""
    row = look.reading.row
    if not isinstance(row, ScheduleRow):
        return []
    proposal = look.judged.proposal
    patient = proposal.patient if proposal else None
    operation = proposal.operation if proposal else None
    return [*_person(row, patient), *_planned(look.reading, row, operation, procedures)]


def _person(row: ScheduleRow, patient: KnownPatient | None) -> list[Fact]:
    said = (
        ("Patient", f"{row.given_names} {row.family_names}".strip(), _name(patient)),
        ("Date of birth", day(row.birth_date), day(patient.birth_date) if patient else ""),
        ("MRN", row.mrn, patient.mrn if patient else ""),
        ("Phone", row.phone, patient.phone if patient else ""),
        ("Email", row.email, patient.email if patient else ""),
        ("Language", _language(row.language), _language(patient.language if patient else "")),
    )
    return [Fact(label, one or NONE, other or NONE) for label, one, other in said if one or other]


def _planned(
    reading: Reading,
    row: ScheduleRow,
    operation: KnownOperation | None,
    procedures: Mapping[int, str],
) -> list[Fact]:
    booking = words.BOOKING[Booking(operation.booking)] if operation else ""
    recorded = procedures.get(operation.procedure_id, "") if operation else ""
    written = row.procedure or row.procedure_code
    date_on_record = operation and (day(operation.or_date) if operation.or_date else "no date yet")
    said = (
        ("OR date", _dates(reading), date_on_record or ""),
        ("Booking", PLANS[row.plan] if row.plan else EVENTS[reading.event].lower(), booking),
        ("Procedure", written, recorded),
        ("Surgeon", row.surgeon, operation.surgeon if operation else ""),
        ("Facility", row.facility, operation.facility if operation else ""),
        ("Case number", row.case_number, operation.case_number if operation else ""),
    )
    scheduled = row.plan == Plan.SCHEDULED and operation and operation.booking in GOES_ON
    return [
        Fact(label, one or NONE, other or NONE, bool(scheduled) and label == "Booking")
        for label, one, other in said
        if one or other
    ]


def changes(look: Look, procedures: Mapping[int, str]) -> list[str]:
    """Return what applying it as it is would write."""
    proposal = look.judged.proposal
    if proposal is None or proposal.verdict == Verdict.REJECTED:
        return []
    return change_words(proposal, procedures)


def dates(look: Look) -> list[tuple[date, str]]:
    """Return the dates that a person may choose, each with who says it."""
    found: dict[date, list[str]] = {}
    for said in look.reading.dates:
        found.setdefault(said.day, []).append(said.where)
    proposal = look.judged.proposal
    if proposal and proposal.operation and proposal.operation.or_date:
        found.setdefault(proposal.operation.or_date, []).append("on record")
    return [(one, ", ".join(dict.fromkeys(where))) for one, where in sorted(found.items())]


def needs_procedure(look: Look) -> bool:
    """Whether a person has to say which procedure it is."""
    return any(map(_about_the_procedure, look.judged.problems))


def word_to_remember(look: Look) -> str:
    """Return how the message names a procedure that nobody knows, empty if that is not so."""
    row = look.reading.row
    unknown = any(problem.reason in BY_WORD for problem in look.judged.problems)
    if not unknown or not isinstance(row, ScheduleRow):
        return ""
    parts = [part for part in (row.procedure, row.procedure_code) if part]
    return parts[0] if len(parts) == 1 else f"{parts[0]} ({parts[1]})"


def may_apply(look: Look) -> bool:
    """Whether it can be applied once the person has said what is asked."""
    return look.may_apply and all(map(_about_the_procedure, look.judged.problems))


def state(look: Look) -> str:
    """Return the one sentence that comes first."""
    if look.step.step == Step.WAITS and look.judged.fate == Fate.OVERTAKEN:
        return "A newer message about this operation is on record. This one changes nothing."
    step = Step(look.step.step)
    sentences = {
        Step.WAITS: "Nothing of this message is on record yet. It waits for somebody to decide.",
        Step.APPLIED: "This message was applied.",
        Step.UNCHANGED: "The record said all of this already; nothing was changed.",
        Step.SET_ASIDE: "This message was set aside. Nothing of it was applied.",
        Step.OVERTAKEN: "A newer message about this operation came first. Nothing was changed.",
        Step.REFUSED: "This message was refused: it cannot be read. The sender was told.",
    }
    by_itself = " By itself, as it came in." if step in ON_RECORD and not look.step.by else ""
    return sentences[step] + by_itself


def as_it_came(message: IntakeMessage) -> str:
    """Return the text of a message, a segment on each line."""
    text = bytes(message.content).decode("utf-8", "replace")
    return text.replace("\r\n", "\n").replace("\r", "\n").replace("\x00", "�")


def steps_of(message: IntakeMessage) -> Sequence[tuple[IntakeStep, str]]:
    """Return everything that came of a message, in order, in words."""
    rows = message.steps.select_related("by").order_by("id")
    return [(row, STEPS[Step(row.step)]) for row in rows]


def _about_the_procedure(problem: Problem) -> bool:
    missing = problem.reason == Reason.MISSING and problem.column == Column.PROCEDURE
    return missing or problem.reason in BY_PROCEDURE


def _dates(reading: Reading) -> str:
    found: dict[date, list[str]] = {}
    for said in reading.dates:
        found.setdefault(said.day, []).append(said.where)
    if len(found) == 1:
        return day(next(iter(found)))
    return "; ".join(f"{day(one)} ({', '.join(where)})" for one, where in found.items())


def _name(patient: KnownPatient | None) -> str:
    return f"{patient.given_names} {patient.family_names}".strip() if patient else ""


def _language(code: str) -> str:
    return name_of(code)


def patient_ids(proposal: Proposal | None, step: IntakeStep) -> int | None:
    """Return which patient a message is about, for the trail."""
    known = proposal.patient.id if proposal and proposal.patient else None
    return known or step.patient_id
