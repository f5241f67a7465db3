"""Send the personal link to an eating plan.

Behind it stands the plan with its dates, and no name, MRN or date of birth.
"""

from datetime import datetime, timedelta
from enum import StrEnum

from django.db import transaction

from education.models import (
    EndedBecause,
    GivenBy,
    PlanLink,
)
from education.new_message import new_message, wake_sender
from education.personal_link import end
from education.plan_moves import hand_over
from education.plan_of import plan_of
from patients import programme
from patients.models import Operation

PLAN = "plan"


class PlanRefusal(StrEnum):
    """Why a plan's link cannot go out."""

    NO_EMAIL = "no_email"
    HELD = "held"  # something holds the plan, or it has no dates


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
            end(earlier, EndedBecause.REPLACED, at=at, by_id=by_id)
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
