"""Invite a patient to a module: a personal link, and one email; or take it back."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from enum import StrEnum

from django.db import transaction
from django.db.models import QuerySet

from education.addresses import is_blocked
from education.attempts import attempts_left
from education.models import (
    Assignment,
    EndedBecause,
    Invitation,
    Message,
    MessageState,
)
from education.new_message import new_message, wake_sender
from education.personal_link import end
from education.rules.quiz_way import Way
from patients import programme
from patients.batches import batches
from patients.clock import local_date
from patients.models import Operation
from patients.prepared import GivenIds, prepared

# The purposes of an email with a link: sent to begin with, asked for by the patient, or to remind.
INVITATION = "invitation"
RENEWAL = "renewal"
REMINDER = "reminder"


class Refusal(StrEnum):
    """Why a patient cannot be invited now."""

    NO_EMAIL = "no_email"
    ADDRESS_MARKED = "address_marked"  # nothing more goes to it: call
    CLOSED = "closed"
    NO_DATE = "no_date"
    NOT_OPEN_YET = "not_open_yet"
    NOT_PUBLISHED = "not_published"
    NO_ATTEMPT_LEFT = "no_attempt_left"


def refusal(
    assignment: Assignment, *, at: datetime, unasked: bool = False, way: Way = Way.LINK
) -> Refusal | None:
    """Return why the quiz cannot be given this way now, or None when it can.

    `unasked`: nobody asks for this one.
    """
    if assignment.closed:
        return Refusal.CLOSED
    if assignment.opens_on is None:
        return Refusal.NO_DATE
    if way == Way.LINK and not assignment.operation.patient.email:
        return Refusal.NO_EMAIL
    if way == Way.LINK and is_blocked(assignment.operation.patient.email, unasked=unasked):
        return Refusal.ADDRESS_MARKED
    if local_date(at, programme.current().zone) < assignment.opens_on:
        return Refusal.NOT_OPEN_YET
    if not assignment.module.editions.exists():
        return Refusal.NOT_PUBLISHED
    if attempts_left(assignment.pk) == 0:
        return Refusal.NO_ATTEMPT_LEFT
    return None


def invite(
    assignment: Assignment,
    *,
    at: datetime,
    by_id: int | None = None,
    not_before: datetime | None = None,
    purpose: str = INVITATION,
    for_day: date | None = None,
) -> Invitation | Refusal:
    """Write an invitation and its email; earlier links of the assignment are replaced by it.

    The email goes out at once, or from `not_before` on, so that it can be taken back until then.
    `for_day`: nobody at the programme asked for it; a patient gets one of a purpose a local day,
    and IntegrityError is raised for a second one.
    """
    with transaction.atomic():
        assignment = (
            Assignment.objects.select_for_update(of=("self",))
            .select_related("operation__patient", "module")
            .get(pk=assignment.pk)
        )
        unasked = for_day is not None and purpose != RENEWAL
        refused = refusal(assignment, at=at, unasked=unasked)
        if refused:
            return refused
        for earlier in assignment.invitations.filter(way=Way.LINK, end__isnull=True):
            end(earlier, EndedBecause.REPLACED, at=at, by_id=by_id)
        patient = assignment.operation.patient
        invitation = Invitation.objects.create(
            assignment=assignment,
            address=patient.email,
            expires_at=at + timedelta(days=programme.current().link_valid_days),
            recorded_at=at,
            by_id=by_id,
        )
        message = new_message(
            purpose,
            at=at,
            patient=patient,
            due=not_before,
            for_day=for_day,
            invitation=invitation,
        )
        message.save()
        if not_before is None:  # else the periodic sweep finds it
            wake_sender(message.pk)
    return invitation


def withdraw_waiting(operations: Iterable[Operation], *, at: datetime) -> int:
    """Withdraw the emails that never went out and are not wanted any more; returns how many.

    The module is no longer asked for, or its window has not opened on the new dates: a quiz passed
    before it does would not count. Once it is time, a link can be sent anew. An email that was
    tried may have arrived, so its link stays.
    """
    withdrawn = 0
    for some in batches(operation.pk for operation in operations):
        for invitation in _never_out(operations=some):
            assignment = invitation.assignment
            opened = assignment.opens_on is not None and assignment.opens_on <= local_date(
                at, programme.current().zone
            )
            if assignment.closed or not opened:
                withdrawn += end(invitation, EndedBecause.WITHDRAWN, at=at)
    return withdrawn


@prepared
def _never_out() -> QuerySet[Invitation]:
    return Invitation.objects.filter(
        assignment__operation__among=GivenIds("operations"),
        end__isnull=True,
        message__state=MessageState.WAITING,
        tokens__isnull=True,
    ).select_related("assignment")


def take_back(invitation: Invitation, *, at: datetime, by_id: int) -> bool:
    """End a link whose email has not gone out. False when it has: nothing is changed then."""
    with transaction.atomic():
        withdrawn = Message.objects.filter(
            invitation=invitation, state=MessageState.WAITING, tries=0
        ).update(state=MessageState.WITHDRAWN)
        if withdrawn:
            end(invitation, EndedBecause.WITHDRAWN, at=at, by_id=by_id)
    return bool(withdrawn)
