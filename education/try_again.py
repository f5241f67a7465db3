"""Somebody wants an address tried again: its marks end, and what failed there is sent anew."""

from datetime import datetime

from django.db import transaction
from django.db.models import Q

from education.addresses import end_marks
from education.invite import Refusal, invite
from education.models import Assignment, Invitation, MessageState


def try_again(address: str, *, reason: str, at: datetime, by_id: int) -> int | None:
    """End the marks of an address, and send new links where the email with one failed.

    Returns how many links were written; None: nothing was marked any more.
    """
    with transaction.atomic():
        if not end_marks(address, reason=reason, at=at, by_id=by_id):
            return None
        failed = Q(message__state=MessageState.FAILED) | Q(reminders__state=MessageState.FAILED)
        links = Invitation.objects.filter(
            failed, address__iexact=address, assignment__operation__patient__email__iexact=address
        )
        wanted = (
            Assignment.objects.still_open()
            .filter(pk__in=links.filter(end__isnull=True).values("assignment"))
            .exclude(pk__in=Assignment.objects.cleared().values("pk"))
        )
        sent = [invite(one, at=at, by_id=by_id) for one in wanted.order_by("pk")]
    return sum(not isinstance(one, Refusal) for one in sent)
