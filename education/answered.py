"""A person deals with what came back by email: an answer, or a mail that no machine can read."""

from datetime import datetime

from django.db import transaction

from education.models import ReceivedMail, ReceivedSettled


def settle(received_id: int, *, settled: bool, at: datetime, by_id: int) -> bool:
    """Say that a mail was dealt with, or is to be looked at again. False: it was so already."""
    with transaction.atomic():
        received = ReceivedMail.objects.select_for_update().get(pk=received_id)
        latest = received.settlings.order_by("-id").first()
        if (latest is not None and latest.settled) is settled:
            return False
        ReceivedSettled.objects.create(
            received=received, settled=settled, recorded_at=at, by_id=by_id
        )
    return True
