"""How far an email was at an instant of the past, from what is on record of it now.

An email's row says what became of it, not when. What else is on record says when: when it went
out, when its link ended, what was reported and decided, and that a sender never tries one before
its next try is due. Where all that leaves two answers, the answer is "not on record".
"""

from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from django.db.models import QuerySet

from education.models import AddressMark, Message, MessageState
from education.rules.delivery import FAILED, Told

# What `state_then` reads along with an email.
READ_ALONG = ("invitation__end", "plan_link__end", "answer_link__end")


class Unknown(StrEnum):
    """In a state's place."""

    NOT_ON_RECORD = "not_on_record"


State = MessageState | Unknown


@dataclass(frozen=True)
class Traces:
    """What is on record of one email now. `failed_at`: since when a report or a mark of its
    address says that it failed; `reports`: when anything was reported; `decided`: when a person
    decided about it.
    """

    state: MessageState
    next_try_at: datetime
    tries: int = 0
    sent_at: datetime | None = None
    link_ended_at: datetime | None = None
    failed_at: datetime | None = None
    reports: tuple[datetime, ...] = field(default=())
    decided: tuple[datetime, ...] = field(default=())


def then(now: Traces, *, known_at: datetime) -> State:
    """Say how far an email that had been written by then was just before the instant `known_at`."""
    if any(at >= known_at for at in now.decided):
        return Unknown.NOT_ON_RECORD  # it had failed, or was in doubt, since some time before
    not_tried = now.next_try_at >= known_at
    match now.state:
        case MessageState.WAITING | MessageState.SENDING:
            return MessageState.WAITING
        case MessageState.SENT:
            return _sent(now, known_at)
        case MessageState.WITHDRAWN:
            return _withdrawn(now, known_at)
        case MessageState.FAILED if now.failed_at is not None:
            return now.state if now.failed_at < known_at else _sent(now, known_at)
    return MessageState.WAITING if not_tried else Unknown.NOT_ON_RECORD


def _sent(now: Traces, known_at: datetime) -> State:
    if now.sent_at is None:
        return Unknown.NOT_ON_RECORD  # it was in doubt before the report
    if now.sent_at >= known_at:
        return MessageState.WAITING
    # A report may have settled a doubt: then the email is dated by the report.
    in_doubt = now.state == MessageState.SENT and any(at >= known_at for at in now.reports)
    return Unknown.NOT_ON_RECORD if in_doubt else MessageState.SENT


def _withdrawn(now: Traces, known_at: datetime) -> State:
    if now.link_ended_at is not None and now.link_ended_at < known_at:
        return MessageState.WITHDRAWN
    # An email that was never tried is withdrawn with its link.
    with_link = now.link_ended_at is not None and now.tries == 0
    return MessageState.WAITING if with_link else Unknown.NOT_ON_RECORD


def states_then(messages: QuerySet[Message], *, known_at: datetime) -> dict[int, State]:
    """Return it of every email of these that had been written by then, by its id."""
    rows = messages.filter(recorded_at__lt=known_at).select_related(*READ_ALONG)
    listed = rows.prefetch_related("delivery_events", "address_marks", "decisions")
    return {one.pk: then(_traces(one), known_at=known_at) for one in listed}


def _traces(message: Message) -> Traces:
    link = message.invitation or message.plan_link or getattr(message, "answer_link", None)
    events = list(message.delivery_events.all())
    failed = [one.recorded_at for one in events if Told(one.kind) in FAILED]
    failed += [one.recorded_at for one in message.address_marks.all() if _by_server(one)]
    end = getattr(link, "end", None)
    return Traces(
        state=MessageState(message.state),
        next_try_at=message.next_try_at,
        tries=message.tries,
        sent_at=message.sent_at,
        link_ended_at=end.recorded_at if end else None,
        failed_at=min(failed, default=None),
        reports=tuple(one.recorded_at for one in events if one.happened_at == message.sent_at),
        decided=tuple(one.recorded_at for one in message.decisions.all()),
    )


def _by_server(mark: AddressMark) -> bool:
    """The mail server itself refused the recipient, when the email was handed over."""
    return mark.event_id is None
