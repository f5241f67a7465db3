"""Take in what is told of an email that went out: each report once, in whatever order they come."""

import hashlib
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction

from education.addresses import mark_address
from education.models import (
    AddressMarkEnd,
    DeliveryEvent,
    Message,
    MessageState,
    ReceivedMail,
)
from education.rules.delivery import FAILED, Told, why_marked

SKEW = timedelta(minutes=10)  # so far may another mail system's clock be off (fault 18)
# A mail system gives up after four or five days (RFC 5321, section 4.5.4.1), and then tells.
TOLD_WITHIN = timedelta(days=6)
_WENT_OUT = (MessageState.SENT, MessageState.AMBIGUOUS, MessageState.SENDING)
_PROBLEMS = {
    Told.BOUNCED: "it came back",
    Told.GAVE_UP: "the mail system gave up",
    Told.REJECTED: "the mail service did not send it on",
}


@dataclass(frozen=True)
class Report:
    """What is told of one email. `key`: the facts by which the same report is known again.

    `source`: who tells. `happened_at`: None where that is not said. `certain`: it is known which
    email it is about; if not, nobody's email failed for sure.
    """

    kind: Told
    key: tuple[str, ...]
    source: str
    status: str = ""
    said: str = ""
    happened_at: datetime | None = None
    certain: bool = True


def hear(
    report: Report, message: Message | None, *, at: datetime, received: ReceivedMail | None = None
) -> bool:
    """Keep a report, and let follow what has to. False: it was heard before.

    `message`: the email that it is about; None: none of ours, it is only counted.
    """
    happened_at = min(report.happened_at or at, at)
    with transaction.atomic():
        event, new = DeliveryEvent.objects.get_or_create(
            key=hashlib.sha256("\n".join(report.key).encode()).hexdigest(),
            defaults={
                "message": message,
                "kind": report.kind,
                "status": report.status[:12],
                "said": report.said[:300],
                "source": report.source[:40],
                "received": received,
                "happened_at": happened_at,
                "recorded_at": at,
            },
        )
        if new and message is not None:
            held = Message.objects.select_for_update(of=("self",)).get(pk=message.pk)
            _follow(event, held, certain=report.certain)
    return new


def sent_lately(addresses: Collection[str], *, at: datetime) -> list[Message]:
    """Return the emails to one of the addresses that a report of today may be about.

    Of each patient the latest: where several have the address, nobody can say whose it is.
    """
    for address in filter(None, addresses):
        found = Message.objects.filter(
            address__iexact=address,
            state__in=_WENT_OUT,
            recorded_at__gte=at - 2 * TOLD_WITHIN,
            sent_at__gte=at - TOLD_WITHIN,
        )
        latest: dict[int | None, Message] = {}
        for one in found.order_by("-sent_at", "-id"):
            latest.setdefault(one.patient_id, one)
        if latest:
            return list(latest.values())
    return []


def _follow(event: DeliveryEvent, message: Message, *, certain: bool) -> None:
    if message.sent_at is not None and event.happened_at < message.sent_at - SKEW:
        return  # of an earlier sending: somebody sent it again since
    _change_state(event, message, certain=certain)
    why = why_marked(Told(event.kind), event.status)
    # What happened before somebody wanted the address tried again says nothing about it now.
    tried_again = AddressMarkEnd.objects.filter(
        mark__address=message.address.lower(), recorded_at__gt=event.happened_at
    )
    if why is not None and not tried_again.exists():
        mark_address(message, why, at=event.recorded_at, event=event)


def _change_state(event: DeliveryEvent, message: Message, *, certain: bool) -> None:
    """A failure is final; anything else settles the doubt whether the email went out.

    What may be about another patient's email puts this one in doubt, and settles nothing.
    """
    kind = Told(event.kind)
    if not certain:
        if kind not in FAILED or message.state not in _WENT_OUT:
            return
        message.state, message.lease_until = MessageState.AMBIGUOUS, None
        message.problem = "one of several emails to this address came back"
    elif kind in FAILED and message.state in _WENT_OUT:
        code = f" ({event.status})" if event.status else ""
        message.state, message.lease_until = MessageState.FAILED, None
        message.problem = f"{_PROBLEMS[kind]}{code}"
    elif kind not in FAILED and message.state == MessageState.AMBIGUOUS:
        message.state, message.problem = MessageState.SENT, ""
        message.sent_at = event.happened_at
    else:
        return
    message.save(update_fields=["state", "lease_until", "problem", "sent_at"])
