"""A patient's whole history in one column: what happened, when, by whom and from where."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

from django.db.models import Count, F, Q, QuerySet

from clinic import asking_history, conversations, eating_history, mail_history
from clinic.alarms import PURPOSES
from clinic.comparison import name_words
from clinic.day_words import day, days
from clinic.mail_words import PURPOSE as MAIL_PURPOSE
from clinic.models import Confirmation
from clinic.submissions import decision_words, typed_name
from clinic.way_words import ENDED, GIVEN, WAY, how_it_came
from clinic.words import BOOKING, EVIDENCE, LINK_ENDED, MAIL
from education.mail_then import State, Unknown, states_then
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
)
from education.rules.quiz_way import TYPED_BY_STAFF, Way
from education.rules.standing import Evidence
from patients.as_known import as_known
from patients.behind_changes import behind_changes
from patients.clock import local_date
from patients.message_words import message_name
from patients.models import (
    Booking,
    Contact,
    KeptApart,
    Means,
    Merge,
    OperationChange,
    OperationMoved,
    OtherName,
    Outcome,
    Patient,
    PatientChange,
)
from patients.rules.languages import name_of
from patients.speaks_for import operations_of, spoken_for

Ids = Collection[int]
Instant = datetime | None  # before which something was known; None: now

FACTS = {
    "mrn": "MRN",
    "given_names": "given names",
    "family_names": "family names",
    "birth_date": "date of birth",
    "email": "email",
    "phone": "phone",
    "language": "language",
}

PURPOSE = MAIL_PURPOSE | dict.fromkeys(PURPOSES, "look again at the confirmed OR date")


@dataclass(frozen=True)
class Event:
    """One thing that happened; `who` is a person, or where it came from."""

    at: datetime
    what: str
    detail: str = ""
    who: str = ""
    submission_id: int | None = None
    contact_id: int | None = None  # one that can still be corrected


def history(
    patient: Patient, titles: dict[int, str], *, zone: ZoneInfo, known_at: datetime | None = None
) -> list[Event]:
    """Return everything on record about a patient, the latest first.

    Records that were merged into the patient's have their history here too. `titles` names the
    modules by id. With `known_at`: only what was on record before that instant, of the records and
    operations that were the patient's then.
    """
    records = sorted(spoken_for([patient.pk], known_at=known_at))
    operations = operations_of(patient, known_at=known_at)
    events = [
        *_record(patient, records, known_at),
        *_other_names(patient, records, known_at),
        *_kept_apart(records, known_at),
        *_merges(records, known_at),
        *_operations(patient, operations, known_at),
        *_links(operations, titles, known_at),
        *_messages(records, known_at),
        *_quizzes(records, operations, titles, zone, known_at),
        *_clearances(patient, records, titles, known_at),
        *_sign_offs(operations, titles, known_at),
        *_contacts(patient, records, zone, known_at),
        *(Event(*told) for told in conversations.told_of(records, titles)),
        *_confirmations(operations),
        *(Event(*told) for told in mail_history.told_of(records)),
        *(Event(*told) for told in eating_history.told_of(records, operations)),
        *(Event(*told) for told in asking_history.told_of(operations, known_at=known_at)),
    ]
    if known_at is not None:
        events = [event for event in events if event.at < known_at]
    return sorted(events, key=lambda event: event.at)[::-1]


def _record(patient: Patient, records: Ids, known_at: Instant) -> Iterator[Event]:
    changes = PatientChange.objects.filter(patient__in=records).select_related("by", "patient")
    found: dict[int, list[PatientChange]] = {}
    for row in changes:
        found.setdefault(row.patient_id, []).append(row)
    for rows in found.values():
        first = rows[0]
        also = _also(first.patient, patient, known_at)
        yield Event(first.recorded_at, "enrolled", also, _who(first.by, first.source))
        for before, after in pairwise(rows):
            changed = [
                f"{label}: {_fact(before, field)} → {_fact(after, field)}"
                for field, label in FACTS.items()
                if getattr(before, field) != getattr(after, field)
            ]
            detail = "; ".join(filter(None, [also, *changed]))
            who = _who(after.by, after.source)
            yield Event(after.recorded_at, "record corrected", detail, who)


def _also(record: Patient, patient: Patient, known_at: Instant) -> str:
    """Return which record it is, when it is not the one that is looked at."""
    if record.pk == patient.pk:
        return ""
    return f"the record with MRN {as_known(record, known_at=known_at).mrn}"


def _other_names(patient: Patient, records: Ids, known_at: Instant) -> Iterator[Event]:
    """Former and preferred names, kept and ended."""
    rows = OtherName.objects.filter(patient__in=records)
    for row in rows.select_related("by", "patient", "end__by"):
        words = "; ".join(filter(None, [name_words(row), _also(row.patient, patient, known_at)]))
        yield Event(row.recorded_at, "other name kept", words, _who(row.by, row.source))
        if hasattr(row, "end"):
            detail = f"{words}. Reason: {row.end.reason}"
            yield Event(row.end.recorded_at, "other name ended", detail, _who(row.end.by))


def _merges(records: Ids, known_at: Instant) -> Iterator[Event]:
    came = Count("moved_operations", filter=Q(moved_operations__to_patient=F("kept")))
    rows = Merge.objects.filter(Q(kept__in=records) | Q(merged__in=records)).annotate(came=came)
    for row in rows.select_related("kept", "merged", "by", "undone__by"):
        kept, merged = _named(row.kept, known_at), _named(row.merged, known_at)
        moved = f"{row.came} operation{'' if row.came == 1 else 's'} moved"
        detail = f"{merged}, went into {kept}; {moved}. Reason: {row.reason}"
        yield Event(row.recorded_at, "records merged", detail, _who(row.by))
        if hasattr(row, "undone"):
            detail = f"{kept}, and {merged}, are two patients again. Reason: {row.undone.reason}"
            yield Event(row.undone.recorded_at, "merge undone", detail, _who(row.undone.by))


def _kept_apart(records: Ids, known_at: Instant) -> Iterator[Event]:
    """Records that were said to be another person's, and whether that was taken back."""
    rows = KeptApart.objects.filter(Q(one__in=records) | Q(other__in=records))
    for row in rows.select_related("one", "other", "by", "end__by"):
        other = row.other if row.one_id in records else row.one
        words = _named(other, known_at)
        note = f". {row.note}" if row.note else ""
        yield Event(row.recorded_at, "kept apart from another record", words + note, _who(row.by))
        if hasattr(row, "end"):
            yield Event(row.end.recorded_at, "not kept apart any more", words, _who(row.end.by))


def _named(record: Patient, known_at: Instant) -> str:
    record = as_known(record, known_at=known_at)
    return f"{record.full_name}, MRN {record.mrn}"


def _fact(row: PatientChange, field: str) -> str:
    value = getattr(row, field)
    if isinstance(value, date):
        return day(value)
    if field == "language":
        return name_of(value)
    return value or "none"


def _operations(patient: Patient, operations: Ids, known_at: Instant) -> Iterator[Event]:
    moved = OperationMoved.objects.filter(operation__in=operations).select_related("from_patient")
    moves = [move for move in moved if known_at is None or move.recorded_at < known_at]
    rows = list(
        OperationChange.objects.filter(operation__in=operations)
        .select_related("by", "procedure")
        .order_by("operation", "version")
    )
    behind = behind_changes(operations)
    before: OperationChange | None = None
    for row in rows:
        same = before is not None and before.operation_id == row.operation_id
        detail = _changed(before, row) if before and same else _booked(row)
        later = (m for m in moves if m.operation_id == row.operation_id)
        record = next((m.from_patient for m in later if m.recorded_at > row.recorded_at), patient)
        detail = "; ".join(filter(None, [detail, _also(record, patient, known_at)]))
        message = behind.get((row.operation_id, row.recorded_at))
        if row.reason:
            detail = f"{detail}. Reason: {row.reason}"
        elif message:
            detail = f"{detail}. By {message_name(message)}"
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


def _links(operations: Ids, titles: dict[int, str], known_at: Instant) -> Iterator[Event]:
    rows = Invitation.objects.filter(assignment__operation__in=operations)
    then = _states(Message.objects.filter(invitation__in=rows), known_at)
    for row in rows.select_related("by", "message", "assignment"):
        if row.way != Way.LINK:
            title = titles.get(row.assignment.module_id, "")
            yield Event(row.recorded_at, GIVEN[Way(row.way)], title, _who(row.by))
            continue  # no email carries it
        message = getattr(row, "message", None)
        mail = f", email {_mail(message, then)}" if message else ""
        detail = f"{titles.get(row.assignment.module_id, '')}, to {row.address}{mail}"
        yield Event(row.recorded_at, "link sent", detail, _who(row.by))
    ends = InvitationEnd.objects.filter(invitation__assignment__operation__in=operations)
    for end in ends.select_related("by", "invitation__assignment"):
        title = titles.get(end.invitation.assignment.module_id, "")
        why = LINK_ENDED[EndedBecause(end.because)]
        what = ENDED[Way(end.invitation.way)]
        yield Event(end.recorded_at, what, f"{title}: {why}", _who(end.by))
    attempts = Attempt.objects.filter(invitation__assignment__operation__in=operations).exclude(
        invitation__way__in=TYPED_BY_STAFF  # begun with the sheet, or with the call
    )
    for attempt in attempts.select_related("invitation__assignment"):
        title = titles.get(attempt.invitation.assignment.module_id, "")
        way = Way(attempt.invitation.way)
        nth = f", {_nth(attempt.number)} attempt with this link" if way == Way.LINK else ""
        yield Event(attempt.recorded_at, "quiz begun", f"{title}{nth}", WAY[way])


def _messages(records: Ids, known_at: Instant) -> Iterator[Event]:
    rows = Message.objects.filter(patient__in=records)
    then = _states(rows, known_at)
    for row in rows:
        to = f"{_purpose(row)}, to {row.address}"
        if then.get(row.pk, row.state) == MessageState.SENT and row.sent_at:
            yield Event(row.sent_at, "email went out", to)
        elif row.invitation_id is None:
            yield Event(row.recorded_at, f"email {_mail(row, then)}", to)


def _states(messages: QuerySet[Message], known_at: Instant) -> dict[int, State]:
    """How far emails were then; of today each says it itself."""
    return states_then(messages, known_at=known_at) if known_at else {}


def _purpose(message: Message) -> str:
    return PURPOSE.get(message.purpose, message.purpose)


def _mail(message: Message, then: Mapping[int, State]) -> str:
    state = then.get(message.pk, MessageState(message.state))
    if isinstance(state, Unknown):
        return "written: whether it had gone out by then is not on record"
    # What an email had met with before, the row does not say.
    problem = f" ({message.problem})" if message.problem and state == message.state else ""
    return f"{MAIL[state]}{problem}"


def _nth(number: int) -> str:
    return {1: "first", 2: "second", 3: "third"}.get(number, f"{number}th")


def _quizzes(
    records: Ids, operations: Ids, titles: dict[int, str], zone: ZoneInfo, known_at: Instant
) -> Iterator[Event]:
    """Quizzes that came through the patient's links, or were ever taken for the patient's."""
    decided = IdentityDecision.objects.filter(patient__in=records)
    if known_at is not None:
        decided = decided.filter(recorded_at__lt=known_at)
    rows = Submission.objects.filter(
        Q(attempt__invitation__assignment__operation__in=operations)
        | Q(pk__in=decided.order_by().values("submission"))
    ).select_related("edition", "by", "attempt__invitation__assignment__operation")
    for row in rows:
        title = titles.get(row.edition.module_id, "")
        passed = "passed" if row.passed else "failed"
        detail = (
            f"{title}: {row.right} of {row.total} right, {passed}; "
            f"typed {typed_name(row)}, born {day(row.birth_date)}"
        )
        own = row.attempt.invitation.assignment.operation_id in operations
        source = how_it_came(row, zone=zone)
        if not own and row.way == Way.LINK:
            source = "through another patient’s link"
        elif not own:
            source = f"{source}; it was given to another patient"
        yield Event(row.recorded_at, "quiz handed in", detail, source, row.pk)
    decisions = IdentityDecision.objects.filter(submission__in=[row.pk for row in rows])
    for decision in decisions.select_related("by", "submission__edition"):
        words = decision_words(decision)
        if decision.patient_id not in (None, *records):
            words = "decided to be another patient’s"
        handed_in = day(local_date(decision.submission.recorded_at, zone))
        title = titles.get(decision.submission.edition.module_id, "")
        detail = (
            f"{title}: quiz handed in {handed_in}{'. ' if decision.note else ''}{decision.note}"
        )
        who = _who(decision.by) or "by the identity rule"
        yield Event(decision.recorded_at, words, detail, who, decision.submission_id)
    notes = SubmissionNote.objects.filter(submission__in=[row.pk for row in rows])
    for note in notes.select_related("by"):
        yield Event(
            note.recorded_at, "note on a quiz", note.text, _who(note.by), note.submission_id
        )


def _clearances(
    patient: Patient, records: Ids, titles: dict[int, str], known_at: Instant
) -> Iterator[Event]:
    rows = Clearance.objects.filter(patient__in=records)
    for row in rows.select_related("by", "patient", "carried_from__patient"):
        title = titles.get(row.module_id, "")
        evidence = EVIDENCE[Evidence(row.evidence)]
        note = f". {row.note}" if row.note else ""
        detail = f"{title}, dated {day(row.cleared_on)}: {evidence}{note}"
        detail = "; ".join(filter(None, [detail, _also(row.patient, patient, known_at)]))
        if row.carried_from:
            source = as_known(row.carried_from.patient, known_at=known_at)
            came = f"{detail}; from MRN {source.mrn}"
            yield Event(row.recorded_at, "clearance carried over by a merge", came, _who(row.by))
        else:
            yield Event(row.recorded_at, "cleared", detail, _who(row.by) or "by the quiz")
    revocations = Revocation.objects.filter(clearance__patient__in=records)
    told: set[tuple[int, datetime]] = set()
    for revoked in revocations.select_related("by", "clearance").order_by("clearance"):
        row = revoked.clearance
        # What was carried goes with what it was carried from: said once where both are shown.
        told.add((row.pk, revoked.recorded_at))
        if (row.carried_from_id, revoked.recorded_at) in told:
            continue
        title = titles.get(row.module_id, "")
        detail = f"{title}, dated {day(row.cleared_on)}. Reason: {revoked.reason}"
        yield Event(revoked.recorded_at, "clearance revoked", detail, _who(revoked.by))


def _sign_offs(operations: Ids, titles: dict[int, str], known_at: Instant) -> Iterator[Event]:
    # What a merge carried along with a clearance was signed off once, before.
    rows = SignOff.objects.filter(assignment__operation__in=operations).exclude(
        clearance__merge__isnull=False, recorded_at=F("clearance__recorded_at")
    )
    ends = ("by", "assignment", "revocation__by", "second__by")
    for row in rows.select_related("clearance", *ends):
        title = titles.get(row.assignment.module_id, "")
        cleared = f"clearance of {day(row.clearance.cleared_on)}{_late(row, known_at)}"
        detail = f"{title}, {cleared}. {row.reason}"
        yield Event(row.recorded_at, "signed off", detail, _who(row.by))
        yield from _said_of(row, "sign-off", title)
    waivers = Waiver.objects.filter(assignment__operation__in=operations)
    for waiver in waivers.select_related(*ends):
        title = titles.get(waiver.assignment.module_id, "")
        yield Event(waiver.recorded_at, "waived", f"{title}. {waiver.reason}", _who(waiver.by))
        yield from _said_of(waiver, "waiver", title)


def _said_of(accepted: SignOff | Waiver, what: str, title: str) -> Iterator[Event]:
    """What the second clinician said, and that it was taken back."""
    if hasattr(accepted, "second"):
        second = accepted.second
        said = "agreed to" if second.agrees else "declined"
        detail = f"{title}. Reason: {second.reason}"
        who = _who(second.by)
        yield Event(second.recorded_at, f"second clinician {said} the {what}", detail, who)
    if hasattr(accepted, "revocation"):
        over = accepted.revocation
        detail = f"{title}. Reason: {over.reason}"
        yield Event(over.recorded_at, f"{what} taken back", detail, _who(over.by))


def _late(row: SignOff, known_at: Instant) -> str:
    clear_by = row.assignment.clear_by
    if known_at is not None:
        dates = row.assignment.changes.filter(recorded_at__lt=known_at).order_by("-id").first()
        clear_by = dates.clear_by if dates else None
    if clear_by is None or row.clearance.cleared_on <= clear_by:
        return ""
    return f", {days((row.clearance.cleared_on - clear_by).days)} after the clear-by date"


def _contacts(patient: Patient, records: Ids, zone: ZoneInfo, known_at: Instant) -> Iterator[Event]:
    rows = Contact.objects.filter(patient__in=records)
    for row in rows.select_related("by", "patient", "correction__by"):
        again = f"again on {day(row.next_on)}" if row.next_on else ""
        outcome = Outcome(row.outcome).label.lower()
        said = "; ".join(filter(None, [outcome, again, _also(row.patient, patient, known_at)]))
        note = f". {row.note}" if row.note else ""
        what = Means(row.means).label.lower()
        if row.made_at:
            what = f"{what} (corrected)"
            said = f"made on {day(local_date(row.made_at, zone))}; {said}"
        correction = getattr(row, "correction", None)
        at, mine = row.recorded_at, None if correction else row.pk
        yield Event(at, what, f"{said}{note}", _who(row.by), contact_id=mine)
        if correction:
            became = "it was another one" if correction.instead_id else "there was none"
            detail = f"{what}, {outcome}: {became}. Reason: {correction.reason}"
            at = correction.recorded_at
            yield Event(at, "contact corrected", detail, _who(correction.by))


def _confirmations(operations: Ids) -> Iterator[Event]:
    rows = Confirmation.objects.filter(operation__in=operations).select_related("by")
    for row in rows:
        held = ""
        if row.against_hold:
            held = f", against a hold. {row.clinician}: {row.clinician_reason}"
        yield Event(row.recorded_at, "OR date confirmed", f"{day(row.or_date)}{held}", _who(row.by))


def _who(by: object, source: str = "") -> str:
    """The person's name and the source, whichever are known."""
    return ", ".join(part for part in (str(by) if by else "", source) if part)
