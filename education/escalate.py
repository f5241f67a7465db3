"""Ask the surgeon's office to help reach a patient, and say when that is over.

Both follow from what is on record, by education/rules/escalation.py, in the transaction of whatever
changed it; whoever calls holds the patient's row.
"""

from collections.abc import Collection
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Min, Q, QuerySet

from education.models import (
    MATCHED,
    Assignment,
    AssignmentChange,
    Clearance,
    Escalation,
    EscalationEnd,
    IdentityDecision,
)
from education.rules.escalation import Case, Tried, ended, to_be_escalated
from patients import programme
from patients.clock import end_of_day, local_date
from patients.models import Contact, ContactQuerySet, Outcome, Patient
from patients.prepared import GivenIds, prepared
from patients.speaks_for import spoken_for


def open_escalations(patients: Collection[int]) -> dict[int, Escalation]:
    """Return by patient whom the surgeon's office is asked to help reach: since when, and by whom.

    Of two, as a merge may bring them together, the older.
    """
    return {
        row.patient.merged_into_id or row.patient_id: row for row in _open_of(patients=patients)
    }


@prepared
def _open_of() -> QuerySet[Escalation]:
    theirs = GivenIds("patients")
    records = Patient.objects.filter(Q(pk__among=theirs) | Q(merged_into__among=theirs))
    rows = _open().filter(patient__in=records.values("pk"))
    return rows.select_related("patient", "contact", "by").order_by("-recorded_at", "-id")


def follow_contacts(patient: Patient, *, at: datetime, by_id: int, corrected: bool) -> None:
    """A contact was logged or corrected: help is asked for, or not needed any more."""
    records = list(spoken_for([patient.pk]))
    running = open_escalations([patient.pk]).get(patient.pk)
    case = _case(patient.pk, records, running, at=at)
    if running:
        _end(running, records, case, at=at, by_id=by_id, corrected=corrected)
        return
    used = programme.current()
    if to_be_escalated(case, messages=used.messages_before_escalation, wanted=used.escalates):
        messages = _contacts(records).filter(outcome=Outcome.LEFT_A_MESSAGE)
        Escalation.objects.create(
            patient=patient,
            contact=messages.latest_first()[0],
            messages=used.messages_before_escalation,
            recorded_at=at,
            by_id=by_id,
        )


def follow_standing(patients: Collection[int], *, at: datetime) -> None:
    """Somebody was cleared, tried a quiz, or has nothing to do any more: is help still needed?"""
    for pk, running in open_escalations(patients).items():
        records = list(spoken_for([pk]))
        _end(running, records, _case(pk, records, running, at=at), at=at)


def _end(
    running: Escalation,
    records: Collection[int],
    case: Case,
    *,
    at: datetime,
    by_id: int | None = None,
    corrected: bool = False,
) -> None:
    because = ended(case, messages=running.messages, corrected=corrected)
    if because:
        EscalationEnd.objects.bulk_create(
            EscalationEnd(escalation=one, because=because, recorded_at=at, by_id=by_id)
            for one in _open().filter(patient__in=records)
        )


def _open() -> QuerySet[Escalation]:
    return Escalation.objects.filter(end__isnull=True)


def _contacts(records: Collection[int]) -> ContactQuerySet:
    return Contact.objects.standing().filter(patient__in=records)


def _case(
    patient_id: int, records: Collection[int], running: Escalation | None, *, at: datetime
) -> Case:
    on = local_date(at, programme.current().zone)
    waiting = (
        Assignment.objects.wanting_attention(on=on)
        .filter(operation__patient=patient_id, opens_on__lte=on)
        .exclude(pk__in=Assignment.objects.cleared().values("pk"))
    )
    since = AssignmentChange.objects.filter(assignment__in=waiting).aggregate(
        first=Min("recorded_at")
    )["first"]
    clearances = Clearance.objects.filter(
        patient__in=records, revocation__isnull=True, merge__isnull=True
    )
    return Case(
        tries=tuple(
            Tried(
                one.at,
                reached=one.outcome == Outcome.REACHED,
                left_a_message=one.outcome == Outcome.LEFT_A_MESSAGE,
            )
            for one in reversed(_contacts(records).latest_first())
        ),
        waiting_since=since,
        cleared_at=clearances.order_by("-recorded_at")
        .values_list("recorded_at", flat=True)
        .first(),
        handed_in_at=_handed_in_at(records, programme.current().zone),
        escalated_at=running.contact.at if running else None,
    )


def _handed_in_at(records: Collection[int], zone: ZoneInfo) -> datetime | None:
    """When the last quiz was handed in that is known to be theirs.

    A sheet of paper was at the earliest as its day began: what came later that day was later.
    """
    decided = IdentityDecision.objects.in_force(patient__in=records, verdict__in=MATCHED)
    rows = decided.values_list("submission__recorded_at", "submission__answered_on")
    return max(
        (end_of_day(day - timedelta(days=1), zone) if day else came for came, day in rows),
        default=None,
    )
