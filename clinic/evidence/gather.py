"""Gather one patient's clearance record, as it stands or as it stood at the end of a past day.

Each kind of row is read once; with a past day only what was on record before its end (promise C5).
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, TypeVar

from django.db.models import Model, Q, QuerySet

from clinic.evidence.gather_conversations import contacts_of, teach_backs_of
from clinic.evidence.gather_quizzes import editions_of, quizzes_of
from clinic.evidence.record import (
    Accepted,
    Act,
    Begun,
    ClearanceRecord,
    Cleared,
    Confirmed,
    Invited,
    Name,
    Person,
    Plan,
    PlannedOperation,
    Required,
    Second,
    Window,
)
from clinic.models import Confirmation
from clinic.patient_record import AskedAbout, asked_about, other_names_of
from education.models import (
    Assignment,
    AssignmentChange,
    Attempt,
    Clearance,
    Edition,
    Invitation,
    SignOff,
    Waiver,
)
from education.rules.confirm import Requirement, may_confirm
from education.rules.module_text import SOURCE_LANGUAGE
from education.rules.standing import Reason
from education.standings import Told, standings, standings_as_of
from patients.behind_changes import Written, behind_changes
from patients.message_words import message_name
from patients.models import OPEN_BOOKINGS, IntakeStep, OperationChange, Patient
from patients.speaks_for import operations_of, spoken_for

Row = TypeVar("Row", bound=Model)


def gather(patient: Patient, *, on: date | None, at: datetime, by: str) -> ClearanceRecord:
    """Return the clearance record of a patient on the day `on` (None: today).

    Raises NotOnRecordThen and MergedThen as the patient's page does (clinic.patient_record).
    """
    asked = asked_about(patient, on=on, at=at)
    known_at = asked.known_at
    records = sorted(spoken_for([patient.pk], known_at=known_at))
    operations = operations_of(patient, known_at=known_at)
    quizzes = quizzes_of(operations, records, known_at=known_at, zone=asked.programme.zone)
    clearances = _clearances(patient, known_at)
    return ClearanceRecord(
        programme=asked.programme.name,
        phone=asked.programme.phone,
        zone=asked.programme.zone,
        on=asked.on,
        past=known_at is not None,
        made_at=at,
        made_by=by,
        person=_person(patient, asked, records),
        operations=_operations(operations, asked),
        quizzes=quizzes,
        clearances=clearances,
        contacts=contacts_of(records, known_at),
        teach_backs=teach_backs_of(records, known_at),
        editions=editions_of(quizzes, clearances, known_at=known_at),
    )


def known(rows: QuerySet[Row], known_at: datetime | None) -> QuerySet[Row]:
    """Leave out what was not on record yet."""
    return rows if known_at is None else rows.filter(recorded_at__lt=known_at)


def act(row: Any, *, reason: str = "reason") -> Act:
    """Return when a row was written, by whom, and why."""
    return Act(row.recorded_at, str(row.by or ""), getattr(row, reason, ""))


def one_act(row: Any, name: str, known_at: datetime | None) -> Act | None:
    """Return what came after a row, if it had come by then: its revocation, say."""
    later = getattr(row, name, None)
    if later is None or (known_at is not None and later.recorded_at >= known_at):
        return None
    return act(later)


def _person(patient: Patient, asked: AskedAbout, records: Collection[int]) -> Person:
    facts = asked.facts
    others = [pk for pk in records if pk != patient.pk]
    return Person(
        id=patient.pk,
        mrn=facts.mrn,
        given_names=facts.given_names,
        family_names=facts.family_names,
        birth_date=facts.birth_date,
        language=facts.language,
        other_names=tuple(
            Name(row.kind, row.given_names, row.family_names)
            for row in other_names_of(patient, known_at=asked.known_at)
        ),
        also_mrns=tuple(
            Patient.objects.filter(pk__in=others).order_by("pk").values_list("mrn", flat=True)
        ),
    )


# --- operations and what they need ---------------------------------------------------------------


@dataclass(frozen=True)
class _Trail:
    """The rows behind the assignments, by the assignment's id."""

    titles: dict[int, str]
    changes: dict[int, list[AssignmentChange]]
    invitations: dict[int, list[Invited]]
    attempts: dict[int, list[Begun]]
    sign_offs: dict[int, list[Accepted]]
    waivers: dict[int, list[Accepted]]


def _operations(ids: Collection[int], asked: AskedAbout) -> tuple[PlannedOperation, ...]:
    assignments = (
        Assignment.objects.filter(operation__in=ids)
        .select_related("operation__patient", "module")
        .order_by("clear_by", "id")
    )
    told = (
        standings_as_of(assignments, on=asked.on)
        if asked.known_at
        else standings(assignments, on=asked.on)
    )
    trail = _trail([one.assignment.pk for one in told], asked.known_at)
    required: dict[int, list[Required]] = defaultdict(list)
    answers: dict[int, list[Requirement]] = defaultdict(list)
    for one in told:
        row = _required(one, trail)
        required[one.assignment.operation_id].append(row)
        if not row.closed:
            answers[one.assignment.operation_id].append(
                Requirement(row.id, row.before_operation, one.answer)
            )
    plans = _by(
        known(OperationChange.objects.filter(operation__in=ids), asked.known_at)
        .select_related("operation", "procedure", "by")
        .order_by("version"),
        "operation_id",
    )
    confirmed = _by(
        known(Confirmation.objects.filter(operation__in=ids), asked.known_at).select_related("by"),
        "operation_id",
    )
    behind = behind_changes(ids)
    found = [
        _operation(rows, behind, required[pk], answers[pk], confirmed[pk], on=asked.on)
        for pk, rows in plans.items()
    ]
    return tuple(sorted(found, key=lambda one: (one.or_date or date.max, one.id), reverse=True))


def _message(behind: Mapping[Written, IntakeStep], row: OperationChange) -> str:
    step = behind.get((row.operation_id, row.recorded_at))
    return message_name(step) if step else ""


def _operation(
    plans: list[OperationChange],
    behind: Mapping[Written, IntakeStep],
    required: list[Required],
    answers: list[Requirement],
    confirmed: list[Confirmation],
    *,
    on: date,
) -> PlannedOperation:
    latest = plans[-1]
    verdict = may_confirm(
        answers,
        has_date=latest.or_date is not None,
        date_passed=latest.or_date is not None and latest.or_date < on,
        is_open=latest.booking in OPEN_BOOKINGS,
    )
    return PlannedOperation(
        id=latest.operation_id,
        case_number=latest.operation.case_number,
        procedure_code=latest.procedure.code,
        procedure=latest.procedure.name,
        surgeon=latest.surgeon,
        facility=latest.facility,
        or_date=latest.or_date,
        booking=latest.booking,
        word=str(verdict.word),
        holds=tuple(str(reason) for reason in verdict.reasons),
        plans=tuple(
            Plan(
                at=row.recorded_at,
                or_date=row.or_date,
                booking=row.booking,
                procedure=row.procedure.name,
                reason=row.reason or _message(behind, row),
                source=row.source,
                by=str(row.by or ""),
            )
            for row in plans
        ),
        required=tuple(required),
        confirmations=tuple(
            Confirmed(
                id=row.pk,
                made=act(row, reason="clinician_reason"),
                or_date=row.or_date,
                word=row.word,
                reasons=tuple(row.reasons),
                against_hold=row.against_hold,
                clinician=row.clinician,
            )
            for row in confirmed
        ),
    )


def _required(told: Told, trail: _Trail) -> Required:
    pk = told.assignment.pk
    changes = trail.changes[pk]
    latest = changes[-1]
    return Required(
        id=pk,
        module=told.assignment.module.code,
        title=trail.titles.get(told.assignment.module_id, told.assignment.module.code),
        opens_days=latest.requirement.opens_days,
        clear_by_days=latest.requirement.clear_by_days,
        opens_on=told.facts.opens_on,
        clear_by=told.facts.clear_by,
        closed=latest.closed,
        standing=str(told.answer.standing),
        reasons=tuple(str(reason) for reason in told.answer.reasons),
        cleared_on=told.answer.cleared_on,
        rests_on=_rests_on(told),
        windows=tuple(
            Window(row.recorded_at, row.or_date, row.opens_on, row.clear_by, row.closed)
            for row in changes
        ),
        invitations=tuple(trail.invitations[pk]),
        attempts=tuple(trail.attempts[pk]),
        sign_offs=tuple(trail.sign_offs[pk]),
        waivers=tuple(trail.waivers[pk]),
    )


def _rests_on(told: Told) -> int | None:
    """Return the clearance that the answer names by its day: the rule takes the earliest."""
    if told.answer.cleared_on is None or Reason.WAIVED in told.answer.reasons:
        return None
    signed_off = Reason.LATE_BUT_SIGNED_OFF in told.answer.reasons
    fitting = [
        fact.id
        for fact in told.facts.clearances
        if fact.cleared_on == told.answer.cleared_on
        and fact.counts
        and (fact.signed_off or not signed_off)
    ]
    return min(fitting, default=None)


def _trail(ids: Collection[int], known_at: datetime | None) -> _Trail:
    here = Q(assignment__in=ids)
    editions = known(Edition.objects.filter(module__assignments__in=ids), known_at)
    attempts = known(Attempt.objects.filter(invitation__assignment__in=ids), known_at)
    begun: dict[int, list[Begun]] = defaultdict(list)
    for row in attempts.select_related("invitation", "submission").order_by("recorded_at", "id"):
        handed_in = getattr(row, "submission", None)
        if handed_in and known_at and handed_in.recorded_at >= known_at:
            handed_in = None
        begun[row.invitation.assignment_id].append(
            Begun(row.pk, row.recorded_at, row.number, handed_in.pk if handed_in else None)
        )
    invitations: dict[int, list[Invited]] = defaultdict(list)
    rows = known(Invitation.objects.filter(here), known_at)
    for invitation in rows.select_related("by", "message", "end"):
        invitations[invitation.assignment_id].append(_invited(invitation, known_at))
    changes = known(AssignmentChange.objects.filter(here), known_at)
    return _Trail(
        titles={e.module_id: e.title[SOURCE_LANGUAGE] for e in editions.order_by("number")},
        changes=_by(
            changes.select_related("requirement").order_by("recorded_at", "id"), "assignment_id"
        ),
        invitations=invitations,
        attempts=begun,
        sign_offs=_accepted(SignOff.objects.filter(here), known_at),
        waivers=_accepted(Waiver.objects.filter(here), known_at),
    )


def _invited(row: Invitation, known_at: datetime | None) -> Invited:
    sent_at = row.message.sent_at if hasattr(row, "message") else None
    ended = one_act(row, "end", known_at)
    return Invited(
        id=row.pk,
        at=row.recorded_at,
        by=str(row.by or ""),
        emailed_at=None if sent_at and known_at and sent_at >= known_at else sent_at,
        ended_at=ended.at if ended else None,
        ended_because=row.end.because if ended else "",
        way=row.way,
    )


def _accepted(
    rows: QuerySet[SignOff] | QuerySet[Waiver], known_at: datetime | None
) -> dict[int, list[Accepted]]:
    found: dict[int, list[Accepted]] = defaultdict(list)
    related = ("by", "revocation__by", "second__by")
    listed: Iterable[SignOff | Waiver] = (
        rows.filter(recorded_at__lt=known_at) if known_at else rows
    ).select_related(*related)
    for row in sorted(listed, key=lambda row: (row.recorded_at, row.pk)):
        said = one_act(row, "second", known_at)
        found[row.assignment_id].append(
            Accepted(
                id=row.pk,
                made=act(row),
                clearance_id=getattr(row, "clearance_id", None),
                needs_second=row.needs_second,
                second=Second(row.second.agrees, said) if said else None,
                taken_back=one_act(row, "revocation", known_at),
            )
        )
    return found


def _by(rows: QuerySet[Row], field: str) -> dict[int, list[Row]]:
    found: dict[int, list[Row]] = defaultdict(list)
    for row in rows:
        found[getattr(row, field)].append(row)
    return found


# --- clearances ---------------------------------------------------------------------


def _clearances(patient: Patient, known_at: datetime | None) -> tuple[Cleared, ...]:
    rows = known(Clearance.objects.filter(patient=patient), known_at).select_related(
        "by", "module", "edition", "decision", "carried_from__patient", "revocation__by"
    )
    return tuple(
        Cleared(
            id=row.pk,
            made=act(row, reason="note"),
            module=row.module.code,
            title=row.edition.title[SOURCE_LANGUAGE],
            edition=row.edition.number,
            cleared_on=row.cleared_on,
            evidence=row.evidence,
            quiz_id=row.decision.submission_id if row.decision else None,
            carried_from=row.carried_from.patient.mrn if row.carried_from else "",
            revoked=one_act(row, "revocation", known_at),
        )
        for row in rows.order_by("cleared_on", "id")
    )
