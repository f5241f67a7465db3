"""A person decides about an email that failed, or that may have gone out."""

from datetime import datetime
from enum import StrEnum

from django.db import transaction

from education.models import MailDecision, MailVerdict, Message, MessageState
from education.new_message import wake_sender
from education.overtaken import OVERTAKEN_BY, Overtaken, known_about, overtaken

TO_DECIDE = (MessageState.FAILED, MessageState.AMBIGUOUS)


class Undecidable(StrEnum):
    """Why nothing is decided."""

    SETTLED = "settled"  # it is neither failed nor in doubt, or not any more


def decide(
    message_id: int, verdict: MailVerdict, *, at: datetime, by_id: int
) -> Overtaken | Undecidable | None:
    """Send an email once more under the same Message-ID, or take it as sent. None: it was done.

    What events overtook is not sent again: said is what did, and nothing is changed.
    """
    with transaction.atomic():
        message = (
            Message.objects.select_for_update(of=("self",))
            .select_related(*OVERTAKEN_BY)
            .get(pk=message_id)
        )
        in_doubt = message.state == MessageState.AMBIGUOUS
        if message.state not in TO_DECIDE or (verdict == MailVerdict.TAKE_AS_SENT and not in_doubt):
            return Undecidable.SETTLED
        if verdict == MailVerdict.SEND_AGAIN:
            why = overtaken(message, known_about([message]), at=at)
            if why:
                return why
            message.state, message.tries = MessageState.WAITING, 0
            message.next_try_at, message.problem = at, ""
            wake_sender(message.pk)
        else:
            message.state, message.sent_at = MessageState.SENT, at
        message.save(update_fields=["state", "tries", "next_try_at", "problem", "sent_at"])
        MailDecision.objects.create(message=message, verdict=verdict, recorded_at=at, by_id=by_id)
    return None
