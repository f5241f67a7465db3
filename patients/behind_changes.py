"""Which schedule message wrote a change of an operation?  The two have the instant in common."""

from collections.abc import Collection
from datetime import datetime

from patients.models import IntakeStep, Step

# An operation's id and when the change was recorded.
Written = tuple[int, datetime]


def behind_changes(operation_ids: Collection[int]) -> dict[Written, IntakeStep]:
    """Return the messages that were applied to these operations, in one query."""
    rows = IntakeStep.objects.filter(step=Step.APPLIED, operation__in=operation_ids)
    return {
        (row.operation_id, row.recorded_at): row
        for row in rows.select_related("message").order_by("id")
        if row.operation_id
    }
