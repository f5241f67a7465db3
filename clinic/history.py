"""A patient's whole history in one column: what happened, when, by whom and from where."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

from django.db.models import Q

from clinic.day_words import day, days
from clinic.look_again import LOOK_AGAIN
from clinic.models import Confirmation
from clinic.submissions import decision_words
from clinic.words import BOOKING, EVIDENCE, LINK_ENDED, MAIL
from education.invite import INVITATION
from education.models import (
    Attempt,
    Clearance,
    EndedBecause,
    IdentityDecision,
    Invitation,
    InvitationEnd,
    Message,
    MessageState,
    Revocation,
    SignOff,
    Submission,
    SubmissionNote,
    Waiver,
    WaiverRevocation,
)
from education.rules.standing import Evidence
from patients.clock import local_date
from patients.models import (
    Booking,
    Contact,
    Language,
    Means,
    OperationChange,
    Outcome,
    Patient,
    PatientChange,
)

FACTS = {
    "mrn": "MRN",
    "given_names": "given names",
    "family_names": "family names",
    "birth_date": "date of birth",
    "email": "email",
    "phone": "phone",
    "language": "language",
}

PURPOSE = {INVITATION: "the link", LOOK_AGAIN: "look again at the confirmed OR date"}


@dataclass(frozen=True)
class Event:
    """One thing that happened; `who` is a person, or where it came from."""

    at: datetime
    what: str
    detail: str = ""
    who: str = ""
    submission_id: int | None = None


def history(
    patient: Patient, titles: dict[int, str], *, zone: ZoneInfo, known_at: datetime | None = None
) -> list[Event]:
    """Return everything on record about a patient, the latest first.

    `titles` names the modules by id. With `known_at`: only what was on record before that instant.
    """
    events = [
        *_record(patient),
        *_operations(patient),
        *_links(patient, titles),
        *_messages(patient),
        *_quizzes(patient, titles, zone),
        *_clearances(patient, titles),
        *_sign_offs(patient, titles),
        *_contacts(patient),
        *_confirmations(patient),
    ]
    if known_at is not None:
        events = [event for event in events if event.at < known_at]
    return sorted(events, key=lambda event: event.at)[::-1]


def _record(patient: Patient) -> Iterator[Event]:
    rows = list(PatientChange.objects.filter(patient=patient).select_related("by"))
    for first in rows[:1]:
        yield Event(first.recorded_at, "enrolled", "", _who(first.by, first.source))
    for before, after in pairwise(rows):
        changed = [
            f"{label}: {_fact(before, field)} → {_fact(after, field)}"
            for field, label in FACTS.items()
            if getattr(before, field) != getattr(after, field)
        ]
        who = _who(after.by, after.source)
        yield Event(after.recorded_at, "record corrected", "; ".join(changed), who)


def _fact(row: PatientChange, field: str) -> str:
    value = getattr(row, field)
    if isinstance(value, date):
        return day(value)
    if field == "language":
        return str(dict(Language.choices).get(value, value))
    return value or "none"


def _operations(patient: Patient) -> Iterator[Event]:
    rows = list(
        OperationChange.objects.filter(operation__patient=patient)
        .select_related("by", "procedure")
        .order_by("operation", "version")
    )
    before: OperationChange | None = None
    for row in rows:
        same = before is not None and before.operation_id == row.operation_id
        detail = _changed(before, row) if before and same else _booked(row)
        if row.reason:
            detail = f"{detail}. Reason: {row.reason}"
        what = "operation changed" if same else "operation booked"
        if before and same and before.or_date != row.or_date:
            what = "OR date moved"
        yield Event(row.recorded_at, what, detail, _who(row.by, row.source))
        before = row


def _booked(row: OperationChange) -> str:
    return f"{row.procedure.name}, {_or_date(row)}, {BOOKING[Booking(row.booking)]}"


def _changed(before: OperationChange, after: OperationChange) -> str:
    changes = []
    if before.or_date != after.or_date:
        changes.append(f"from {_or_date(before)} to {_or_date(after)}")
    if before.procedure_id != after.procedure_id:
        changes.append(f"{before.procedure.name} → {after.procedure.name}")
    if before.booking != after.booking:
        old, new = BOOKING[Booking(before.booking)], BOOKING[Booking(after.booking)]
        changes.append(f"{old} → {new}")
    for field in ("surgeon", "facility"):
        old, new = getattr(before, field), getattr(after, field)
        if old != new:
            changes.append(f"{field}: {old or 'none'} → {new or 'none'}")
    return "; ".join(changes)


def _or_date(row: OperationChange) -> str:
    return day(row.or_date) if row.or_date else "no OR date"


def _links(patient: Patient, titles: dict[int, str]) -> Iterator[Event]:
    rows = Invitation.objects.filter(assignment__operation__patient=patient)
    for row in rows.select_related("by", "message", "assignment"):
        message = getattr(row, "message", None)
        mail = f", email {_mail(message)}" if message else ""
        detail = f"{titles.get(row.assignment.module_id, '')}, to {row.address}{mail}"
        yield Event(row.recorded_at, "link sent", detail, _who(row.by))
    ends = InvitationEnd.objects.filter(invitation__assignment__operation__patient=patient)
    for end in ends.select_related("by", "invitation__assignment"):
        title = titles.get(end.invitation.assignment.module_id, "")
        why = LINK_ENDED[EndedBecause(end.because)]
        yield Event(end.recorded_at, "link ended", f"{title}: {why}", _who(end.by))
    attempts = Attempt.objects.filter(invitation__assignment__operation__patient=patient)
    for attempt in attempts.select_related("invitation__assignment"):
        title = titles.get(attempt.invitation.assignment.module_id, "")
        detail = f"{title}, {_nth(attempt.number)} attempt with this link"
        yield Event(attempt.recorded_at, "quiz begun", detail, "through the emailed link")


def _messages(patient: Patient) -> Iterator[Event]:
    for row in Message.objects.filter(patient=patient):
        if row.state == MessageState.SENT and row.sent_at:
            yield Event(row.sent_at, "email went out", f"{_purpose(row)}, to {row.address}")
        elif row.invitation_id is None:
            yield Event(
                row.recorded_at, f"email {_mail(row)}", f"{_purpose(row)}, to {row.address}"
            )


def _purpose(message: Message) -> str:
    return PURPOSE.get(message.purpose, message.purpose)


def _mail(message: Message) -> str:
    problem = f" ({message.problem})" if message.problem else ""
    return f"{MAIL[MessageState(message.state)]}{problem}"


def _nth(number: int) -> str:
    return {1: "first", 2: "second", 3: "third"}.get(number, f"{number}th")


def _quizzes(patient: Patient, titles: dict[int, str], zone: ZoneInfo) -> Iterator[Event]:
    """Quizzes that came through the patient's links, or were ever taken for the patient's."""
    rows = (
        Submission.objects.filter(
            Q(attempt__invitation__assignment__operation__patient=patient)
            | Q(decisions__patient=patient)
        )
        .distinct()
        .select_related("edition", "attempt__invitation__assignment__operation")
    )
    for row in rows:
        title = titles.get(row.edition.module_id, "")
        passed = "passed" if row.passed else "failed"
        typed = f"{row.given_names} {row.family_names}".strip()
        detail = (
            f"{title}: {row.right} of {row.total} right, {passed}; "
            f"typed {typed}, born {day(row.birth_date)}"
        )
        own = row.attempt.invitation.assignment.operation.patient_id == patient.pk
        source = "through the emailed link" if own else "through another patient’s link"
        yield Event(row.recorded_at, "quiz handed in", detail, source, row.pk)
    decisions = IdentityDecision.objects.filter(submission__in=[row.pk for row in rows])
    for decision in decisions.select_related("by", "submission"):
        words = decision_words(decision, zone=zone)
        if decision.patient_id not in (None, patient.pk):
            words = "decided to be another patient’s"
        handed_in = day(local_date(decision.submission.recorded_at, zone))
        detail = f"quiz handed in {handed_in}{'. ' if decision.note else ''}{decision.note}"
        who = _who(decision.by) or "by the identity rule"
        yield Event(decision.recorded_at, words, detail, who, decision.submission_id)
    notes = SubmissionNote.objects.filter(submission__in=[row.pk for row in rows])
    for note in notes.select_related("by"):
        yield Event(
            note.recorded_at, "note on a quiz", note.text, _who(note.by), note.submission_id
        )


def _clearances(patient: Patient, titles: dict[int, str]) -> Iterator[Event]:
    for row in Clearance.objects.filter(patient=patient).select_related("by"):
        title = titles.get(row.module_id, "")
        evidence = EVIDENCE[Evidence(row.evidence)]
        note = f". {row.note}" if row.note else ""
        detail = f"{title}, dated {day(row.cleared_on)}: {evidence}{note}"
        yield Event(row.recorded_at, "cleared", detail, _who(row.by) or "by the quiz")
    revocations = Revocation.objects.filter(clearance__patient=patient)
    for revoked in revocations.select_related("by", "clearance"):
        title = titles.get(revoked.clearance.module_id, "")
        detail = f"{title}, dated {day(revoked.clearance.cleared_on)}. Reason: {revoked.reason}"
        yield Event(revoked.recorded_at, "clearance revoked", detail, _who(revoked.by))


def _sign_offs(patient: Patient, titles: dict[int, str]) -> Iterator[Event]:
    rows = SignOff.objects.filter(assignment__operation__patient=patient)
    for row in rows.select_related("by", "assignment", "clearance"):
        title = titles.get(row.assignment.module_id, "")
        detail = f"{title}, clearance of {day(row.clearance.cleared_on)}{_late(row)}. {row.reason}"
        yield Event(row.recorded_at, "signed off", detail, _who(row.by))
    waivers = Waiver.objects.filter(assignment__operation__patient=patient)
    for waiver in waivers.select_related("by", "assignment"):
        title = titles.get(waiver.assignment.module_id, "")
        yield Event(waiver.recorded_at, "waived", f"{title}. {waiver.reason}", _who(waiver.by))
    taken_back = WaiverRevocation.objects.filter(waiver__assignment__operation__patient=patient)
    for back in taken_back.select_related("by", "waiver__assignment"):
        title = titles.get(back.waiver.assignment.module_id, "")
        yield Event(back.recorded_at, "waiver taken back", f"{title}. {back.reason}", _who(back.by))


def _late(row: SignOff) -> str:
    clear_by = row.assignment.clear_by
    if clear_by is None or row.clearance.cleared_on <= clear_by:
        return ""
    return f", {days((row.clearance.cleared_on - clear_by).days)} after the clear-by date of now"


def _contacts(patient: Patient) -> Iterator[Event]:
    for row in Contact.objects.filter(patient=patient).select_related("by"):
        again = f"; again on {day(row.next_on)}" if row.next_on else ""
        outcome = Outcome(row.outcome).label.lower()
        note = f". {row.note}" if row.note else ""
        what = Means(row.means).label.lower()
        yield Event(row.recorded_at, what, f"{outcome}{again}{note}", _who(row.by))


def _confirmations(patient: Patient) -> Iterator[Event]:
    rows = Confirmation.objects.filter(operation__patient=patient).select_related("by")
    for row in rows:
        held = ""
        if row.against_hold:
            held = f", against a hold. {row.clinician}: {row.clinician_reason}"
        yield Event(row.recorded_at, "OR date confirmed", f"{day(row.or_date)}{held}", _who(row.by))


def _who(by: object, source: str = "") -> str:
    """The person's name and the source, whichever are known."""
    return ", ".join(part for part in (str(by) if by else "", source) if part)
