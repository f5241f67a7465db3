"""Send the emails that wait as rows: each claimed once, retried with patience, never lost.

A claim is a conditional UPDATE with a lease, so two senders never send one row; a sender that
dies leaves its lease to run out, and the sweep sends the row again under the same Message-ID.
Where the connection broke when the mail server may have taken the message, a person decides: it is
never sent again by itself.
"""

import logging
import time
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import BigIntegerField, F, Q, QuerySet

from education import mail_rules
from education.addresses import mark_address
from education.channel import Channel, HandedOver, Outcome, open_channel
from education.mail_hold import not_held
from education.models import Message, MessageState
from education.overtaken import OVERTAKEN_BY, UNASKED, end_links_never_sent, overtaken
from education.rules.delivery import Told, why_marked
from patients import programme
from patients.prepared import Given, prepared

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
BATCH = 100
SWEEP_FOR = 60.0  # seconds: far below the time after which a task is taken for lost


def sweep(*, at: datetime) -> int:
    """Send everything that is ready and was not announced, or lost its sender. Returns the count.

    One channel, and its one connection to the mail server, serves the whole sweep.
    """
    ready = Message.objects.filter(_ready(at), not_held()).order_by("next_try_at")[:BATCH]
    channel = open_channel()
    ids = list(ready.values_list("pk", flat=True))
    begun = time.monotonic()
    sent = 0
    try:
        for pk in ids:
            # A lease counted from the beginning of a long sweep would have run out already.
            elapsed = time.monotonic() - begun
            if elapsed > SWEEP_FOR:
                break  # a slow mail server; the next sweep goes on
            sent += send(pk, at=at + timedelta(seconds=elapsed), channel=channel)
    finally:
        channel.close()
    return sent


def send(message_id: int, *, at: datetime, channel: Channel | None = None) -> bool:
    """Send one email if it is ready and nothing has overtaken it. True if it went out.

    Over the channel of the sweep, or one of its own.
    """
    claimed = Message.objects.filter(_ready(at), not_held(), pk=message_id).update(
        state=MessageState.SENDING, lease_until=at + LEASE, tries=F("tries") + 1
    )
    if not claimed:
        return False
    (message,) = _claimed(pk=message_id)
    if message.tries > MOST_TRIES:  # each of them ended without a word
        _finish(message, MessageState.FAILED, problem="every sender of it was ended")
        return False
    why = overtaken(message, at=at)
    if why:
        _finish(message, MessageState.WITHDRAWN, problem=why)
        end_links_never_sent([message.pk], at=at)
        return False
    if _put_back_until_morning(message, at=at):
        return False
    if channel is not None:
        return _hand_over(message, channel, at=at)
    own = open_channel()
    try:
        return _hand_over(message, own, at=at)
    finally:
        own.close()


@prepared
def _claimed() -> QuerySet[Message]:
    one = Message.objects.filter(pk=Given("pk", BigIntegerField()))
    return one.select_related(*OVERTAKEN_BY)


def _ready(at: datetime) -> Q:
    waiting = Q(state=MessageState.WAITING, next_try_at__lte=at)
    lost = Q(state=MessageState.SENDING, lease_until__lt=at)
    return waiting | lost


def _put_back_until_morning(message: Message, *, at: datetime) -> bool:
    """In the quiet hours what nobody asked for waits; it has not been tried."""
    if message.for_day is None or message.purpose not in UNASKED:
        return False
    may_go = mail_rules.not_quiet(at, mail_rules.current(), programme.current().zone)
    if may_go == at:
        return False
    Message.objects.filter(pk=message.pk, state=MessageState.SENDING).update(
        state=MessageState.WAITING, next_try_at=may_go, lease_until=None, tries=F("tries") - 1
    )
    return True


def _hand_over(message: Message, channel: Channel, *, at: datetime) -> bool:
    try:
        handed_over = channel.send(message, at=at)
    except Exception as broken:  # whatever it is, it must not stop the messages behind this one
        handed_over = HandedOver(Outcome.LATER, type(broken).__name__)
    problem = handed_over.problem
    match handed_over.outcome:
        case Outcome.TAKEN:
            _finish(message, MessageState.SENT, sent_at=at, hosted_id=handed_over.reference)
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


def _finish(
    message: Message,
    state: MessageState,
    *,
    sent_at: datetime | None = None,
    problem: str = "",
    hosted_id: str = "",
) -> None:
    if state in (MessageState.FAILED, MessageState.AMBIGUOUS):
        log.warning("Message %s is %s: %s", message.pk, state, problem)
    Message.objects.filter(pk=message.pk, state=MessageState.SENDING).update(
        state=state, sent_at=sent_at, lease_until=None, problem=problem, hosted_id=hosted_id[:200]
    )
