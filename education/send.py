"""Send the emails that wait as rows: each claimed once, retried with patience, never lost.

A claim is a conditional UPDATE with a lease, so two senders never send one row; a sender that
dies leaves its lease to run out, and the sweep sends the row again under the same Message-ID.
Where the connection broke when the mail server may have taken the message, a person decides: it is
never sent again by itself.
"""

import logging
import smtplib
import time
from datetime import datetime, timedelta

from django.core.mail import EmailMultiAlternatives, get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.db.models import F, Q

from education import mail_rules
from education.emails import (
    WITHOUT_LINK,
    invitation_email,
    plan_email,
    plan_moved_email,
    reminder_email,
)
from education.invite import REMINDER, issue_token
from education.mail_hold import not_held
from education.mail_server import MaybeAccepted
from education.models import Message, MessageState
from education.overtaken import OVERTAKEN_BY, UNASKED, end_links_never_sent, overtaken
from education.plan_link import issue_plan_token
from education.plan_moves import PLAN_MOVED
from patients import programme

log = logging.getLogger(__name__)

LEASE = timedelta(seconds=90)  # above the mail time-out of 10 s with room to spare
RETRY_AFTER = (  # promise B6: at least five more tries over four hours
    timedelta(minutes=1),
    timedelta(minutes=5),
    timedelta(minutes=25),
    timedelta(minutes=70),
    timedelta(minutes=140),
)
BATCH = 100
# These turn the programme away (a wrong password, say), whatever the message: never final for it.
PROGRAMME_REFUSED = (
    smtplib.SMTPAuthenticationError,
    smtplib.SMTPConnectError,
    smtplib.SMTPHeloError,
)


def sweep(*, at: datetime) -> int:
    """Send everything that is ready and was not announced, or lost its sender. Returns the count.

    One connection to the mail server serves the whole sweep.
    """
    ready = Message.objects.filter(_ready(at), not_held()).order_by("next_try_at")[:BATCH]
    connection = get_connection()
    ids = list(ready.values_list("pk", flat=True))
    begun = time.monotonic()
    sent = 0
    try:
        for pk in ids:
            # A lease counted from the beginning of a long sweep would have run out already.
            elapsed = timedelta(seconds=time.monotonic() - begun)
            sent += send(pk, at=at + elapsed, connection=connection)
    finally:
        connection.close()
    return sent


def send(message_id: int, *, at: datetime, connection: BaseEmailBackend | None = None) -> bool:
    """Send one email if it is ready and nothing has overtaken it. True if it went out."""
    claimed = Message.objects.filter(_ready(at), not_held(), pk=message_id).update(
        state=MessageState.SENDING, lease_until=at + LEASE, tries=F("tries") + 1
    )
    if not claimed:
        return False
    message = Message.objects.select_related(*OVERTAKEN_BY).get(pk=message_id)
    why = overtaken(message, at=at)
    if why:
        _finish(message, MessageState.WITHDRAWN, problem=why)
        end_links_never_sent([message.pk], at=at)
        return False
    if _put_back_until_morning(message, at=at):
        return False
    return _hand_over(message, at=at, connection=connection)


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


def _hand_over(message: Message, *, at: datetime, connection: BaseEmailBackend | None) -> bool:
    try:
        _deliver(message, at=at, connection=connection)
    except smtplib.SMTPRecipientsRefused as refused:
        code = max((code for code, _ in refused.recipients.values()), default=550)
        _refused(message, code, at=at)
    except PROGRAMME_REFUSED as closed:
        _try_later(message, f"mail server answered {closed.smtp_code}", at=at)
    except smtplib.SMTPResponseException as answered:
        _refused(message, answered.smtp_code, at=at)
    except MaybeAccepted as broken:
        cause = type(broken.__cause__).__name__
        _finish(message, MessageState.AMBIGUOUS, problem=f"no answer to the text ({cause})")
    except Exception as broken:  # whatever it is, it must not stop the messages behind this one
        _try_later(message, type(broken).__name__, at=at)
    else:
        _finish(message, MessageState.SENT, sent_at=at)
        return True
    if connection is not None:
        connection.close()  # a broken connection is opened anew for the next message
    return False


def _deliver(message: Message, *, at: datetime, connection: BaseEmailBackend | None) -> None:
    """Send over the connection of the sweep, or one of its own.

    A connection that the server dropped since the message before is opened anew, once.
    """
    over = connection or get_connection()
    email = _made(message, at=at, connection=over)
    # Left open afterwards; False says that it was open before.
    used_before = connection is not None and connection.open() is False
    try:
        email.send()
    except smtplib.SMTPServerDisconnected:
        if not used_before:
            raise
        over.close()
        over.open()
        email.send()


def _made(
    message: Message, *, at: datetime, connection: BaseEmailBackend
) -> EmailMultiAlternatives:
    link = message.invitation or message.reminds
    if link is not None:
        token = issue_token(link, at=at)
        if message.purpose == REMINDER:
            return reminder_email(message, token, connection=connection)
        return invitation_email(message, token, connection=connection)
    if message.plan_link is not None:
        token = issue_plan_token(message.plan_link, at=at)
        make = plan_moved_email if message.purpose == PLAN_MOVED else plan_email
        return make(message, token, connection=connection)
    if message.purpose not in WITHOUT_LINK:
        raise ValueError(f"message {message.pk} has no email for its purpose")
    return WITHOUT_LINK[message.purpose](message, connection=connection)


def _refused(message: Message, code: int, *, at: datetime) -> None:
    """5yz is final; 4yz is for later (RFC 5321, section 4.2.1)."""
    if code >= 500:
        _finish(message, MessageState.FAILED, problem=f"refused by the mail server ({code})")
    else:
        _try_later(message, f"mail server answered {code}", at=at)


def _try_later(message: Message, problem: str, *, at: datetime) -> None:
    if message.tries > len(RETRY_AFTER):
        _finish(message, MessageState.FAILED, problem=problem)
        return
    Message.objects.filter(pk=message.pk, state=MessageState.SENDING).update(
        state=MessageState.WAITING,
        next_try_at=at + RETRY_AFTER[message.tries - 1],
        lease_until=None,
        problem=problem,
    )


def _finish(
    message: Message, state: MessageState, *, sent_at: datetime | None = None, problem: str = ""
) -> None:
    if state in (MessageState.FAILED, MessageState.AMBIGUOUS):
        log.warning("Message %s is %s: %s", message.pk, state, problem)
    Message.objects.filter(pk=message.pk, state=MessageState.SENDING).update(
        state=state, sent_at=sent_at, lease_until=None, problem=problem
    )
