"""Take in one mail of the programme's mailbox: once, whatever it is, and without acting on words.

A delivery report is heard; somebody's answer is kept for staff to read, and nothing follows.
"""

import logging
from dataclasses import replace
from datetime import datetime

from django.db import DataError, transaction

from education.deliveries import Report, hear, sent_lately
from education.models import Message, ReceivedMail
from education.rules.delivery import FAILED, Told
from education.rules.delivery_report import Recipient
from education.rules.incoming_mail import Incoming, Kind, key_of, read

log = logging.getLogger(__name__)

SOURCE = "mailbox"
BY_ADDRESS = "mailbox, known by address and day"
ONE_OF_SEVERAL = "mailbox, whose of several is not said"


def take_mail(raw: bytes, *, taken_from: str, at: datetime) -> ReceivedMail | None:
    """Keep a mail and let follow what has to, in one transaction; None: it was taken before.

    `taken_from`: where it lay, for whoever wants to see the mail itself.
    """
    key = key_of(raw)
    if ReceivedMail.objects.filter(key=key).exists():
        return None
    incoming = read(raw)
    try:
        return _keep(incoming, key, taken_from=taken_from, at=at)
    except (DataError, ValueError) as broken:  # the database has no room for what it says
        log.warning("A mail could not be kept: %s", type(broken).__name__)
        parked = Incoming(Kind.UNREADABLE, problem=type(broken).__name__)
        return _keep(parked, key, taken_from=taken_from, at=at)


def _keep(incoming: Incoming, key: str, *, taken_from: str, at: datetime) -> ReceivedMail | None:
    with transaction.atomic():
        message = _one_of_ours(incoming)
        received, new = ReceivedMail.objects.get_or_create(
            key=key,
            defaults={
                "kind": incoming.kind,
                "message": message,
                "from_address": incoming.from_address,
                "subject": incoming.subject,
                "text": incoming.text,
                "problem": incoming.problem[:200],
                "taken_from": taken_from[:200],
                "sent_at": incoming.sent_at,
                "recorded_at": at,
            },
        )
        if not new:
            return None
        _hear(incoming, message, received, at=at)
    return received


def _one_of_ours(incoming: Incoming) -> Message | None:
    """Return the email that it is about, the one that it names first."""
    found = {m.message_id: m for m in Message.objects.filter(message_id__in=incoming.about)}
    return next((found[one] for one in incoming.about if one in found), None)


def _hear(
    incoming: Incoming, message: Message | None, received: ReceivedMail, *, at: datetime
) -> None:
    if incoming.kind == Kind.COMPLAINT:
        report = Report(Told.COMPLAINED, (SOURCE, received.key), SOURCE)
        hear(report, message, at=at, received=received)
        return
    told = incoming.recipients
    if message is not None and told:
        told = (_of(message, told),)
    for number, one in enumerate(told):
        report = Report(
            kind=one.kind,
            key=(SOURCE, received.key, str(number)),
            source=SOURCE,
            status=one.status,
            said=one.said,
            happened_at=one.at or incoming.sent_at,
        )
        if message is not None or incoming.kind != Kind.REPORT:
            hear(report, message, at=at, received=received)
        else:
            _hear_by_address(report, one, received, at=at)


def _hear_by_address(
    report: Report, told: Recipient, received: ReceivedMail, *, at: datetime
) -> None:
    """A report that names none of our emails: known by its address and day.

    Where several patients have the address it is told of each, as what may be another's.
    """
    found = sent_lately([told.original, told.address], at=at)
    if len(found) < 2:
        source = BY_ADDRESS if found else SOURCE
        hear(replace(report, source=source), next(iter(found), None), at=at, received=received)
        return
    for one in found:
        key = (*report.key, str(one.pk))
        maybe = replace(report, key=key, source=ONE_OF_SEVERAL, certain=False)
        hear(maybe, one, at=at, received=received)


def _of(message: Message, told: tuple[Recipient, ...]) -> Recipient:
    """Return what is told of the address that we wrote to.

    Where only others are named (it was forwarded), it arrived if it arrived at one of them.
    """
    ours = message.address.lower()
    same = [one for one in told if ours in (one.original.lower(), one.address.lower())]
    return (same or sorted(told, key=lambda one: one.kind in FAILED))[0]
