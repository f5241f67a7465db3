"""The OR date moved, and the patient has an eating plan: who is told, by which email, who was told.

Told in the transaction of the move itself: a row for each patient who has the plan, with a link and
an email where there is an address, else for somebody to tell by phone. One email a patient and a
local day; what waits and is overtaken by the next move is withdrawn.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import transaction
from django.db.models import Count, Prefetch, QuerySet

from education.eating_record import Delivery, counts, delivery, give
from education.models import (
    EatingPlanGiven,
    EndedBecause,
    GivenBy,
    Message,
    MessageState,
    PlanDateTold,
    PlanLink,
    PlanLinkEnd,
    StageTable,
    ToldBy,
)
from education.new_message import new_message, wake_sender
from patients import programme
from patients.batches import AT_ONCE, batches
from patients.clock import end_of_day, local_date
from patients.models import Booking, Operation
from patients.prepared import GivenIds, prepared
from patients.wake import wake

PLAN_MOVED = "plan-moved"
DAY = timedelta(days=1)
MORNING = timedelta(hours=8)  # into a later day, when its email goes out
ONE_BY_ONE = 20  # so many hints at most; beyond, one to send whatever waits
BY_HAND = {GivenBy.PRINT: ToldBy.PRINT, GivenBy.PHONE: ToldBy.PHONE, GivenBy.EMAIL: ToldBy.EMAIL}


def tell_of_moves(operations: Iterable[Operation], *, at: datetime) -> int:
    """Tell every patient who has the plan of an operation, if its OR date is not the one they know.

    Called inside the transaction of the change; returns how many have to be told.
    """
    told = 0
    for some in batches(operation.pk for operation in operations):
        with_plan = _with_plan(operations=some)
        moved = [one for one in _holders(with_plan) if _moved(one)] if with_plan else []
        if moved:
            _tell(moved, at=at)
            told += len(moved)
    return told


@prepared
def _with_plan() -> "QuerySet[EatingPlanGiven, int]":
    of_these = EatingPlanGiven.objects.filter(operation__among=GivenIds("operations"))
    return of_these.order_by("operation_id").values_list("operation_id", flat=True).distinct()


@dataclass(frozen=True)
class Telling:
    """How far the emails about moved dates are that are for one local day."""

    out: int
    on_their_way: int
    failed: int

    @property
    def every(self) -> int:
        return self.out + self.on_their_way + self.failed


def telling_of(day: date) -> Telling:
    """Return how many of a day's emails about moved dates are out, on their way, or failed."""
    rows = Message.objects.filter(purpose=PLAN_MOVED, for_day=day).values_list("state")
    states = dict(rows.annotate(count=Count("pk")).order_by("state"))
    return Telling(
        out=states.get(MessageState.SENT, 0),
        on_their_way=states.get(MessageState.WAITING, 0) + states.get(MessageState.SENDING, 0),
        failed=states.get(MessageState.FAILED, 0),
    )


def latest_told(operation: Operation) -> PlanDateTold | None:
    """Return how the patient heard of the last move; None: none since the first copy."""
    rows = PlanDateTold.objects.filter(operation=operation).select_related("by", "link__message")
    return rows.last()


def known_date(operation: Operation) -> date | None:
    """Return the OR date that the patient was told last, whether or not it arrived."""
    return _known(operation, list(operation.dates_told.all()), _copies(operation))


def in_force(operation: Operation) -> date | None:
    """Return the OR date that a plan goes by; a cancelled operation has none."""
    return None if operation.booking == Booking.CANCELLED else operation.or_date


def is_told(row: PlanDateTold) -> bool:
    """Whether the patient heard, or will by an email on its way; what may have arrived is not."""
    if row.means == ToldBy.EMAIL:
        return delivery(row.link) in (Delivery.ON_ITS_WAY, Delivery.DELIVERED)
    return row.means != ToldBy.NOT_YET


def hand_over(
    operation: Operation,
    table: StageTable,
    means: GivenBy,
    *,
    link: PlanLink | None = None,
    at: datetime,
    by_id: int,
) -> EatingPlanGiven:
    """Keep that the patient got the plan, and with it the OR date; as `eating_record.give`."""
    with transaction.atomic():
        told_by_hand(operation, means, link=link, at=at, by_id=by_id)
        return give(operation, table, means, link=link, at=at, by_id=by_id)


def told_by_hand(
    operation: Operation,
    means: GivenBy,
    *,
    link: PlanLink | None = None,
    at: datetime,
    by_id: int,
) -> PlanDateTold | None:
    """Keep that the patient was told of the OR date as it is now; None: there was nothing to tell.

    `link`: the one that was sent for it.
    """
    rows = list(operation.dates_told.select_related("link__message"))
    known = _known(operation, rows, _copies(operation))
    if known == in_force(operation) and (not rows or is_told(rows[-1])):
        return None
    return PlanDateTold.objects.create(
        operation=operation,
        before=_heard(rows, known),
        or_date=in_force(operation),
        means=BY_HAND[means],
        link=link,
        recorded_at=at,
        by_id=by_id,
    )


def _holders(operation_ids: Sequence[int]) -> list[Operation]:
    copies = EatingPlanGiven.objects.order_by("recorded_at", "id").select_related("link__message")
    told = PlanDateTold.objects.order_by("recorded_at", "id").select_related("link__message")
    rows = Operation.objects.filter(pk__in=operation_ids).exclude(booking=Booking.DONE)
    return list(
        rows.select_related("patient")
        .prefetch_related(
            Prefetch("plans_given", queryset=copies), Prefetch("dates_told", queryset=told)
        )
        .order_by("pk")
    )


def _copies(operation: Operation) -> list[EatingPlanGiven]:
    return [one for one in operation.plans_given.all() if counts(one)]


def _known(
    operation: Operation, told: Sequence[PlanDateTold], copies: Sequence[EatingPlanGiven]
) -> date | None:
    """The latest row that says a date; without any copy that counts there is nothing to tell."""
    if told:
        return told[-1].or_date
    return copies[-1].or_date if copies else in_force(operation)


def _heard(told: Sequence[PlanDateTold], known: date | None) -> date | None:
    """Return the date that the patient really knows of: what did not arrive, they do not."""
    if told and not is_told(told[-1]):
        return told[-1].before
    return known


def _moved(operation: Operation) -> bool:
    return known_date(operation) != in_force(operation)


def _tell(moved: Sequence[Operation], *, at: datetime) -> None:
    used = programme.current()
    on = local_date(at, used.zone)
    _withdraw(moved, at=at)
    rows, links, messages = [], [], []
    taken = _days_taken(moved, on)
    for operation in moved:
        told = list(operation.dates_told.all())
        before, after = _heard(told, known_date(operation)), in_force(operation)
        row = PlanDateTold(operation=operation, before=before, or_date=after, recorded_at=at)
        rows.append(row)
        if before == after:
            row.means = ToldBy.NOT_NEEDED
        elif not operation.patient.email or operation.booking == Booking.CANCELLED:
            row.means = ToldBy.NOT_YET  # the link of a cancelled operation opens no more
        else:
            day = on
            while (operation.patient_id, day) in taken:
                day += DAY
            taken.add((operation.patient_id, day))
            link = _link(operation, before, at=at, days=used.link_valid_days)
            due = at if day == on else end_of_day(day - DAY, used.zone) + MORNING
            row.means, row.link = ToldBy.EMAIL, link
            links.append(link)
            messages.append(_message(operation, link, for_day=day, due=due, at=at))
    PlanLink.objects.bulk_create(links, batch_size=AT_ONCE)
    written = _write(messages)
    for row in rows:
        if row.link is not None and row.link.pk not in written:
            row.means, row.link = ToldBy.NOT_YET, None
    PlanDateTold.objects.bulk_create(rows, batch_size=AT_ONCE)
    _announce(sorted(written.values()))


def _withdraw(moved: Iterable[Operation], *, at: datetime) -> None:
    """Take back the emails that never went out about an earlier move: they would say nothing more.

    One that was tried may have arrived, so it stays.
    """
    waiting: dict[int, Message] = {}
    for operation in moved:
        told = list(operation.dates_told.all())
        message: Message | None = getattr(told[-1].link, "message", None) if told else None
        if message is not None and message.state == MessageState.WAITING:
            waiting[message.pk] = message
    for some in batches(waiting):
        Message.objects.filter(pk__in=some, state=MessageState.WAITING, tries=0).update(
            state=MessageState.WITHDRAWN
        )
        taken_back = Message.objects.filter(pk__in=some, state=MessageState.WITHDRAWN)
        ends = []
        for pk, link_id in taken_back.values_list("pk", "plan_link_id"):
            waiting[pk].state = MessageState.WITHDRAWN
            because = EndedBecause.WITHDRAWN
            ends.append(PlanLinkEnd(link_id=link_id, because=because, recorded_at=at))
        PlanLinkEnd.objects.bulk_create(ends, ignore_conflicts=True)


def _days_taken(moved: Iterable[Operation], on: date) -> set[tuple[int, date]]:
    """Return on which days a patient has such an email already, today or later."""
    rows = Message.objects.filter(
        purpose=PLAN_MOVED, patient__in={one.patient_id for one in moved}, for_day__gte=on
    ).exclude(state=MessageState.WITHDRAWN)
    taken = rows.values_list("patient_id", "for_day")
    return {(patient, day) for patient, day in taken if patient is not None and day is not None}


def _link(operation: Operation, before: date | None, *, at: datetime, days: int) -> PlanLink:
    """Return another link, beside the earlier ones: they were promised to show the new dates."""
    or_date = before or operation.or_date or operation.plans_given.all()[0].or_date
    return PlanLink(
        operation=operation,
        address=operation.patient.email,
        or_date=or_date,
        expires_at=at + timedelta(days=days),
        recorded_at=at,
    )


def _message(
    operation: Operation, link: PlanLink, *, for_day: date, due: datetime, at: datetime
) -> Message:
    return new_message(
        PLAN_MOVED, at=at, patient=operation.patient, due=due, for_day=for_day, plan_link=link
    )


def _write(messages: Sequence[Message]) -> dict[int, int]:
    """Write the emails; return message ids by link id.

    One that meets another of the same patient and day, written at the same moment, is left out: a
    move must never fail for its email's sake.
    """
    Message.objects.bulk_create(messages, batch_size=AT_ONCE, ignore_conflicts=True)
    found: dict[int, int] = {}
    for some in batches(message.message_id for message in messages):
        rows = Message.objects.filter(message_id__in=some)
        found |= {
            link: pk for link, pk in rows.values_list("plan_link_id", "pk") if link is not None
        }
    return found


def _announce(message_ids: Sequence[int]) -> None:
    if len(message_ids) > ONE_BY_ONE:
        wake("education.tasks.sweep_messages")
    else:
        for pk in message_ids:
            wake_sender(pk)
