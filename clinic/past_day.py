"""What the patient's page of a past day shows beside the standings, by the records of that day."""

from collections.abc import Collection, Iterable, Mapping
from copy import copy
from dataclasses import replace
from datetime import datetime

from education.mail_then import State, states_then
from education.models import (
    Assignment,
    AssignmentChange,
    Escalation,
    IdentityVerdict,
    Invitation,
    Message,
    MessageState,
    Submission,
)
from education.reaching import Help
from education.standings import Told
from patients.models import OperationChange, Patient


def as_then(
    told: Iterable[Told],
    patient: Patient,
    planned: Mapping[int, OperationChange],
    *,
    known_at: datetime,
) -> list[Told]:
    """Return the standings with their assignments and links as they were, on copies.

    `patient`: whose they were, as known then; `planned`: the operations as they were planned.
    """
    listed = list(told)
    changes = AssignmentChange.objects.filter(
        assignment__in=[one.assignment.pk for one in listed], recorded_at__lt=known_at
    )
    dates = {one.assignment_id: one for one in changes.order_by("recorded_at", "id")}
    sent = Message.objects.filter(invitation__in=[i.pk for i in map(_link, listed) if i])
    states = states_then(sent, known_at=known_at)
    return [
        replace(
            one,
            assignment=_assignment(one.assignment, dates[one.assignment.pk], patient, planned),
            invitation=_invitation(one.invitation, states, known_at) if one.invitation else None,
        )
        for one in listed
    ]


def _link(told: Told) -> Invitation | None:
    return told.invitation


def _assignment(
    row: Assignment,
    dates: AssignmentChange,
    patient: Patient,
    planned: Mapping[int, OperationChange],
) -> Assignment:
    then, change = copy(row), planned[row.operation_id]
    then.opens_on, then.clear_by, then.closed = dates.opens_on, dates.clear_by, dates.closed
    then.operation = copy(row.operation)
    then.operation.patient = patient
    then.operation.or_date, then.operation.booking = change.or_date, change.booking
    return then


def _invitation(row: Invitation, states: Mapping[int, State], known_at: datetime) -> Invitation:
    """The link as it was: one that ended later had no end, and its email was as far as it was."""
    then = Invitation.objects.select_related("end", "message").get(pk=row.pk)
    if hasattr(then, "end") and then.end.recorded_at >= known_at:
        then._state.fields_cache["end"] = None
    if hasattr(then, "message"):
        then.message.state = states[then.message.pk]
        if then.message.state != MessageState.SENT:
            then.message.sent_at = None
    return then


def undecided_of(operations: Collection[int], *, known_at: datetime) -> list[Submission]:
    """Return the quizzes given with these operations about whose owner nothing was decided."""
    rows = Submission.objects.filter(
        attempt__invitation__assignment__operation__in=operations, recorded_at__lt=known_at
    ).prefetch_related("decisions")
    return [one for one in rows.order_by("recorded_at", "id") if _open(one, known_at)]


def _open(row: Submission, known_at: datetime) -> bool:
    known = [one for one in row.decisions.all() if one.recorded_at < known_at]
    return not known or known[-1].verdict == IdentityVerdict.UNDONE


def help_of(records: Collection[int], *, known_at: datetime) -> Help | None:
    """Return since when the surgeon's office was asked to help reach the patient."""
    rows = Escalation.objects.filter(patient__in=records, recorded_at__lt=known_at)
    found = rows.exclude(end__recorded_at__lt=known_at).order_by("recorded_at", "id").first()
    return Help(found.recorded_at, found.messages) if found else None
