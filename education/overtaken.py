"""What events overtook does not go out: withdrawn in the event's own transaction, and looked at
once more by the sender right before sending.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from zoneinfo import ZoneInfo

from django.db.models import BigIntegerField, F, Q, QuerySet

from education.addresses import blocks, marks_of
from education.invite import INVITATION, REMINDER
from education.models import (
    AddressMark,
    AnswerLink,
    Assignment,
    EndedBecause,
    Invitation,
    Message,
    MessageState,
    Reminder,
)
from education.personal_link import LinkState, end, link_state
from patients import programme
from patients.clock import local_date
from patients.models import Patient
from patients.prepared import Given, GivenIds, prepared

# What goes out without anybody asking for it.
UNASKED = (INVITATION, REMINDER)
# What `overtaken` asks of an email, to be read along with it.
OVERTAKEN_BY = (
    "invitation__end",
    "invitation__assignment__operation__patient",
    "reminds__end",
    "reminds__assignment__operation__patient",
    "reminder",
    "plan_link__end",
    "plan_link__operation__patient",
    "answer_link__end",
    "answer_link__answer__question__invitation__assignment__operation__patient",
)


class Overtaken(StrEnum):
    """Why an email is not wanted any more; kept with the row."""

    LINK_ENDED = "its link does not work any more"
    CLEARED = "cleared meanwhile"
    DATE_MOVED = "the date moved"
    DAY_PASSED = "its day has passed"
    MERGED = "the record was merged"
    ADDRESS_MARKED = "nothing more goes to this address"


@dataclass(frozen=True)
class Known:
    """What some emails are held against."""

    zone: ZoneInfo
    marks: dict[str, AddressMark]  # on patients' addresses, by address in lower case
    cleared: frozenset[int]  # assignments


def known_about(messages: Collection[Message]) -> Known:
    """Read what `overtaken` asks about these emails, which were read with `OVERTAKEN_BY`."""
    links = [one.invitation or one.reminds for one in messages if is_unasked(one)]
    about = [link.assignment_id for link in links if link is not None]
    cleared = _cleared(assignments=about) if about else []
    to_patients = [one.address for one in messages if one.patient_id is not None]
    return Known(
        zone=programme.current().zone,
        marks=marks_of(to_patients),
        cleared=frozenset(cleared),
    )


def is_unasked(message: Message) -> bool:
    """Whether the programme sends it of its own accord."""
    return message.for_day is not None and message.purpose in UNASKED


def overtaken(message: Message, known: Known, *, at: datetime) -> Overtaken | None:
    """Say what overtook an email, from the records as they are now; None: it is still wanted."""
    unasked = is_unasked(message)
    # Staff get theirs, also at an address that a patient has too.
    mark = known.marks.get(message.address.lower()) if message.patient_id is not None else None
    if blocks(mark, unasked=unasked):
        return Overtaken.ADDRESS_MARKED
    answer_link: AnswerLink | None = getattr(message, "answer_link", None)
    asked_for = message.plan_link or answer_link
    if asked_for is not None:
        good = link_state(asked_for, at=at) == LinkState.GOOD
        return None if good else Overtaken.LINK_ENDED
    link = message.invitation or message.reminds
    if link is None:
        return _day_passed(message, known, at=at) if message.for_day else None
    if link_state(link, at=at) != LinkState.GOOD:
        return Overtaken.LINK_ENDED
    if not unasked:
        return None  # somebody wanted it sent, cleared or not
    if link.assignment_id in known.cleared:
        return Overtaken.CLEARED
    if message.purpose == REMINDER:
        reminder: Reminder | None = getattr(message, "reminder", None)
        if reminder is None or reminder.clear_by != link.assignment.clear_by:
            return Overtaken.DATE_MOVED
        return _day_passed(message, known, at=at)
    return None


def _day_passed(message: Message, known: Known, *, at: datetime) -> Overtaken | None:
    today = message.for_day == local_date(at, known.zone)
    return None if today else Overtaken.DAY_PASSED


def withdraw_reminders(operation_ids: Collection[int], *, at: datetime) -> int:
    """Withdraw the reminders that name another clear-by date than the assignment has now, or that
    nobody needs any more. Returns how many.
    """
    return _withdraw(_of_another_date(operations=operation_ids), Overtaken.DATE_MOVED, at=at)


@prepared
def _of_another_date() -> "QuerySet[Message, int]":
    return Message.objects.filter(
        Q(reminder__assignment__closed=True)
        | Q(reminder__assignment__clear_by__isnull=True)
        | ~Q(reminder__clear_by=F("reminder__assignment__clear_by")),
        state=MessageState.WAITING,
        reminder__assignment__operation__among=GivenIds("operations"),
    ).values_list("pk", flat=True)


def withdraw_where_cleared(patient: Patient, module_id: int, *, at: datetime) -> int:
    """Withdraw what waits about a module that the patient is cleared for now. Returns how many."""
    found = {
        message.pk: message.invitation or message.reminds
        for message in _waiting_about(patient=patient.pk, module=module_id)
    }
    if not found:
        return 0
    links = {pk: link for pk, link in found.items() if link is not None}
    about = {link.assignment_id for link in links.values()}
    cleared = set(_cleared(assignments=about))
    gone = [pk for pk, link in links.items() if link.assignment_id in cleared]
    return _withdraw(gone, Overtaken.CLEARED, at=at)


@prepared
def _cleared() -> "QuerySet[Assignment, int]":
    some = Assignment.objects.filter(pk__among=GivenIds("assignments"))
    return some.cleared().values_list("pk", flat=True)


@prepared
def _waiting_about() -> QuerySet[Message]:
    number = BigIntegerField()
    theirs = {"operation__patient": Given("patient", number), "module": Given("module", number)}
    waiting = Message.objects.filter(state=MessageState.WAITING)
    invited = waiting.filter(**{f"invitation__assignment__{k}": v for k, v in theirs.items()})
    reminded = waiting.filter(**{f"reminds__assignment__{k}": v for k, v in theirs.items()})
    return (invited | reminded).select_related("invitation", "reminds")


def withdraw_at_merge(merged: Patient, *, at: datetime) -> int:
    """Withdraw what nobody asked for and waits under a record that is merged away.

    The kept record is written to by the next daily run, if that is still wanted.
    """
    waiting = Message.objects.filter(
        patient=merged, state=MessageState.WAITING, purpose__in=UNASKED, for_day__isnull=False
    )
    return _withdraw(waiting.values_list("pk", flat=True), Overtaken.MERGED, at=at)


def end_links_never_sent(message_ids: Collection[int], *, at: datetime) -> None:
    """End the links whose email was withdrawn before it ever went out: nobody has them."""
    never = Invitation.objects.filter(
        message__in=list(message_ids),
        message__state=MessageState.WITHDRAWN,
        tokens__isnull=True,
        end__isnull=True,
    )
    for link in never:
        end(link, EndedBecause.WITHDRAWN, at=at)


def _withdraw(message_ids: Iterable[int], why: Overtaken, *, at: datetime) -> int:
    ids = list(message_ids)
    if not ids:
        return 0
    count = Message.objects.filter(pk__in=ids, state=MessageState.WAITING).update(
        state=MessageState.WITHDRAWN, problem=why
    )
    if count:
        end_links_never_sent(ids, at=at)
    return count
