"""Send the emails that wait as rows: each claimed once, retried with patience, never lost.

A claim locks rows and gives each a lease, so two senders never send one row; a sender that dies
leaves its lease to run out, and the sweep sends the row again under the same Message-ID.
Where the connection broke when the mail server may have taken the message, a person decides: it is
never sent again by itself.
"""

import logging
import time
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import BigIntegerField, CharField, DateTimeField, F, Q, QuerySet

from education import mail_rules
from education.addresses import mark_address
from education.channel import Channel, HandedOver, Outcome, open_channel
from education.mail_hold import not_held
from education.models import Message, MessageState
from education.overtaken import (
    OVERTAKEN_BY,
    end_links_never_sent,
    is_unasked,
    known_about,
    overtaken,
)
from education.rules.delivery import Told, why_marked
from patients.prepared import Given, GivenIds, change, prepared

log = logging.getLogger(__name__)

LEASE = timedelta(seconds=90)  # above the mail time-out of 10 s with room to spare
RETRY_AFTER = (  # promise B6: at least five more tries over four hours
    timedelta(minutes=1),
    timedelta(minutes=5),
    timedelta(minutes=25),
    timedelta(minutes=70),
    timedelta(minutes=140),
)
MOST_TRIES = len(RETRY_AFTER) + 1
TOGETHER = 50  # claimed and looked at in one go: one by one that takes longer than to send them
FRESH = 1.0  # seconds: whatever was looked at longer ago is put back, to be looked at anew
SWEEP_FOR = 60.0  # seconds: far below the time after which a task is taken for lost


def sweep(*, at: datetime) -> int:
    """Send everything that is ready and was not announced, or lost its sender. Returns the count.

    One channel, and its one connection to the mail server, serves the whole sweep.
    """
    channel = open_channel()
    begun = time.monotonic()
    sent = 0
    try:
        # Leases are counted from when they are taken. A slow server is left to the next sweep.
        while (passed := time.monotonic() - begun) <= SWEEP_FOR:
            then = at + timedelta(seconds=passed)
            claimed = _claim(at=then)
            if not claimed:
                break
            sent += _send_all(claimed, channel, at=then)
    finally:
        channel.close()
    return sent


def send(message_id: int, *, at: datetime, channel: Channel | None = None) -> bool:
    """Send one email if it is ready and nothing has overtaken it. True if it went out.

    Over the channel given, which is closed then, or the programme's.
    """
    claimed = _claim(at=at, only=message_id)
    if not claimed:
        return False
    used = channel or open_channel()
    try:
        return _send_all(claimed, used, at=at) == 1
    finally:
        used.close()


def _claim(*, at: datetime, only: int | None = None) -> list[Message]:
    """Take some emails, with a lease on each; they are nobody else's until it runs out.

    One that lost its sender is taken alone: if it is what ends its senders, it ends no others'.
    """
    ready = Message.objects.filter(_ready(at), not_held())
    if only is not None:
        ready = ready.filter(pk=only)
    first = ready.order_by("next_try_at", "id").select_for_update(of=("self",), skip_locked=True)
    with transaction.atomic():
        found = list(first.values_list("pk", "state")[:TOGETHER])
        lost = [pk for pk, state in found if state == MessageState.SENDING]
        taken = lost[:1] or [pk for pk, _ in found]
        Message.objects.filter(pk__in=taken).update(
            state=MessageState.SENDING, lease_until=at + LEASE, tries=F("tries") + 1
        )
    return _claimed(ids=taken) if taken else []


@prepared
def _claimed() -> QuerySet[Message]:
    some = Message.objects.filter(pk__among=GivenIds("ids")).order_by("next_try_at", "id")
    return some.select_related(*OVERTAKEN_BY)


def _ready(at: datetime) -> Q:
    waiting = Q(state=MessageState.WAITING, next_try_at__lte=at)
    lost = Q(state=MessageState.SENDING, lease_until__lt=at)
    return waiting | lost


def _send_all(claimed: list[Message], channel: Channel, *, at: datetime) -> int:
    """Hand over what is still wanted, one after the other. Returns how many went out."""
    looked = time.monotonic()
    wanted = _wanted(claimed, at=at)
    sent = 0
    for number, message in enumerate(wanted):
        if number and time.monotonic() - looked > FRESH:
            _put_back(wanted[number:])
            break
        sent += _hand_over(message, channel, at=at)
    return sent


def _wanted(claimed: list[Message], *, at: datetime) -> list[Message]:
    """Put on record what became of the others."""
    known = known_about(claimed)
    may_go = at
    if any(map(is_unasked, claimed)):
        may_go = mail_rules.not_quiet(at, mail_rules.current(), known.zone)
    wanted = []
    for message in claimed:
        if message.tries > MOST_TRIES:  # each of them ended without a word
            _finish(message, MessageState.FAILED, problem="every sender of it was ended")
        elif why := overtaken(message, known, at=at):
            _finish(message, MessageState.WITHDRAWN, problem=why)
            end_links_never_sent([message.pk], at=at)
        elif may_go > at and is_unasked(message):
            _put_back([message], next_try_at=may_go)  # in the quiet hours it waits
        else:
            wanted.append(message)
    return wanted


def _put_back(messages: list[Message], **until: datetime) -> None:
    """These were not tried."""
    theirs = Message.objects.filter(pk__in=[one.pk for one in messages])
    theirs.filter(state=MessageState.SENDING).update(
        state=MessageState.WAITING, lease_until=None, tries=F("tries") - 1, **until
    )


def _hand_over(message: Message, channel: Channel, *, at: datetime) -> bool:
    try:
        handed_over = channel.send(message, at=at)
    except Exception as broken:  # whatever it is, it must not stop the messages behind this one
        handed_over = HandedOver(Outcome.LATER, type(broken).__name__)
    problem = handed_over.problem
    match handed_over.outcome:
        case Outcome.TAKEN:
            _sent(pk=message.pk, at=at, hosted_id=handed_over.reference[:200])
        case Outcome.LATER:
            _try_later(message, problem, at=at)
        case Outcome.REFUSED:
            _give_up(message, handed_over, at=at)
        case Outcome.UNKNOWN:
            _finish(message, MessageState.AMBIGUOUS, problem=problem)
    return handed_over.outcome == Outcome.TAKEN


def _give_up(message: Message, handed_over: HandedOver, *, at: datetime) -> None:
    with transaction.atomic():
        _finish(message, MessageState.FAILED, problem=handed_over.problem)
        why = why_marked(Told.BOUNCED, handed_over.status)
        if handed_over.bad_address and why is not None:
            mark_address(message, why, at=at)


def _try_later(message: Message, problem: str, *, at: datetime) -> None:
    if message.tries >= MOST_TRIES:
        _finish(message, MessageState.FAILED, problem=problem)
        return
    Message.objects.filter(pk=message.pk, state=MessageState.SENDING).update(
        state=MessageState.WAITING,
        next_try_at=at + RETRY_AFTER[message.tries - 1],
        lease_until=None,
        problem=problem,
    )


_sent = change(
    lambda: Message.objects.filter(pk=Given("pk", BigIntegerField()), state=MessageState.SENDING),
    state=MessageState.SENT,
    sent_at=Given("at", DateTimeField()),
    lease_until=None,
    problem="",
    hosted_id=Given("hosted_id", CharField()),
)


def _finish(message: Message, state: MessageState, *, problem: str) -> None:
    if state in (MessageState.FAILED, MessageState.AMBIGUOUS):
        log.warning("Message %s is %s: %s", message.pk, state, problem)
    Message.objects.filter(pk=message.pk, state=MessageState.SENDING).update(
        state=state, lease_until=None, problem=problem
    )
