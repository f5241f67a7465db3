"""The personal link to an eating plan: sent, opened, ended. The same life as a quiz's link has.

Behind it stands the plan with its dates, and no name, MRN or date of birth.
"""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from django.db import transaction

from education.invite import LinkState, digest
from education.models import (
    EndedBecause,
    GivenBy,
    Message,
    MessageState,
    PlanLink,
    PlanLinkEnd,
    PlanLinkToken,
)
from education.new_message import new_message, wake_sender
from education.plan_moves import hand_over
from education.plan_of import plan_of
from patients import programme
from patients.models import Booking, Operation

PLAN = "plan"


class PlanRefusal(StrEnum):
    """Why a plan's link cannot go out."""

    NO_EMAIL = "no_email"
    HELD = "held"  # something holds the plan, or it has no dates


@dataclass(frozen=True)
class OpenedPlan:
    """What a token opens; `link` is set unless the token is unknown."""

    state: LinkState
    link: PlanLink | None


def send_plan(operation: Operation, *, at: datetime, by_id: int) -> PlanLink | PlanRefusal:
    """Write a link to the plan and its email; earlier links of the operation are replaced by it."""
    with transaction.atomic():
        operation = (
            Operation.objects.select_for_update(of=("self",))
            .select_related("patient", "procedure")
            .get(pk=operation.pk)
        )
        patient = operation.patient
        found = plan_of(operation, at=at)
        if found is None or not found.may_be_given or operation.or_date is None:
            return PlanRefusal.HELD
        if not patient.email:
            return PlanRefusal.NO_EMAIL
        for earlier in operation.plan_links.filter(end__isnull=True):
            end_plan_link(earlier, EndedBecause.REPLACED, at=at, by_id=by_id)
        link = PlanLink.objects.create(
            operation=operation,
            address=patient.email,
            or_date=operation.or_date,
            expires_at=at + timedelta(days=programme.current().link_valid_days),
            recorded_at=at,
            by_id=by_id,
        )
        message = new_message(PLAN, at=at, patient=patient, plan_link=link)
        message.save()
        hand_over(operation, found.table, GivenBy.EMAIL, link=link, at=at, by_id=by_id)
        wake_sender(message.pk)
    return link


def end_plan_link(
    link: PlanLink, because: EndedBecause, *, at: datetime, by_id: int | None = None
) -> None:
    """End a link, and withdraw its email if that has not gone out."""
    with transaction.atomic():
        PlanLinkEnd.objects.get_or_create(
            link=link, defaults={"because": because, "recorded_at": at, "by_id": by_id}
        )
        Message.objects.filter(plan_link=link, state=MessageState.WAITING).update(
            state=MessageState.WITHDRAWN
        )


def issue_plan_token(link: PlanLink, *, at: datetime) -> str:
    """Make the token of one email: 256 random bits, of which only the hash is kept."""
    token = secrets.token_urlsafe(32)
    PlanLinkToken.objects.create(link=link, digest=digest(token), recorded_at=at)
    return token


def open_plan(token: str, *, at: datetime) -> OpenedPlan:
    """Look a token up; reads only."""
    row = (
        PlanLinkToken.objects.filter(digest=digest(token))
        .select_related("link__operation__patient", "link__operation__procedure", "link__end")
        .first()
    )
    if row is None:
        return OpenedPlan(LinkState.UNKNOWN, None)
    return OpenedPlan(plan_link_state(row.link, at=at), row.link)


def plan_link_state(link: PlanLink, *, at: datetime) -> LinkState:
    """Say whether a link still works. A cancelled operation ends it; a moved one does not."""
    operation = link.operation
    same_address = link.address.lower() == operation.patient.email.lower()
    if hasattr(link, "end") or not same_address or operation.booking == Booking.CANCELLED:
        return LinkState.ENDED
    if at >= link.expires_at:
        return LinkState.EXPIRED
    return LinkState.GOOD
