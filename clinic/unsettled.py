"""What changed under a confirmation: the OR dates that somebody has to look at again, today.

A confirmed operation is unsettled when its date is another one now than the one that was
confirmed, or when it is no longer clear, unless a clinician accepted just that. Putting it on
hold, cancelling it or confirming it anew settles it.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Any

from django.db.models import DateField, Exists, OuterRef, Q, QuerySet

from clinic.confirm import OperationAnswer, answers
from clinic.models import Confirmation
from education.models import Assignment
from education.rules.confirm import HoldReason, Word
from education.rules.standing import Standing
from patients import programme
from patients.models import Booking, Operation, OperationQuerySet
from patients.prepared import Given, GivenIds, Prepared, prepared

# Of these the clinician who confirmed against the hold accepted the same thing: not learned yet.
NOT_LEARNED = frozenset({Standing.LATE, Standing.DUE, Standing.NOT_DUE})
_ON: Any = Given("on", DateField())


class Change(StrEnum):
    DATE_MOVED = "date_moved"
    NO_LONGER_CLEAR = "no_longer_clear"


class CannotTell(Exception):
    """A fact could not be read, so nobody can say that nothing changed."""


@dataclass(frozen=True)
class Unsettled:
    """An operation whose confirmation no longer fits it; without one, the schedule confirmed it."""

    change: Change
    given: OperationAnswer
    confirmation: Confirmation | None


def what_changed(
    *,
    booking: str,
    or_date: date | None,
    confirmed_date: date | None,
    word: Word,
    holds: frozenset[str],
    accepted: frozenset[str],
) -> Change | None:
    """Say what changed under a confirmation, None when nothing did or it is settled.

    `confirmed_date` is None when nobody here confirmed it. `holds` is what stands against
    confirming now, `accepted` what stood against it when it was confirmed all the same.
    """
    if booking not in (Booking.PROPOSED, Booking.CONFIRMED):
        return None
    if confirmed_date is not None and confirmed_date != or_date:
        return Change.DATE_MOVED
    if booking == Booking.CONFIRMED and word == Word.HOLD and not holds <= accepted:
        return Change.NO_LONGER_CLEAR
    return None


def holds(given: OperationAnswer) -> frozenset[str]:
    """Return what stands against confirming, as comparable texts."""
    reasons = {str(r) for r in given.verdict.reasons if r != HoldReason.NOT_CLEARED}
    holding = [t for t in given.told if t.assignment.pk in given.verdict.holding]
    return frozenset(reasons | {held(t.assignment.module.code, t.answer.standing) for t in holding})


def accepted(confirmation: Confirmation | None) -> frozenset[str]:
    """Return what a clinician accepted with a confirmation: nothing, if there was no hold."""
    if confirmation is None or not confirmation.against_hold:
        return frozenset()
    found = set()
    for reason in confirmation.reasons:
        code, parted, standing = reason.partition(": ")
        found.add(held(code, standing) if parted else reason)
    return frozenset(found)


def held(code: str, standing: str) -> str:
    """Return what a module that is not cleared holds against confirming."""
    return f"{code}: {'not learned' if standing in NOT_LEARNED else standing}"


def unsettled(*, at: datetime) -> list[Unsettled]:
    """Return every unsettled operation from today on, the soonest first.

    One query when there are none, which is the usual case. Raises CannotTell when a fact could
    not be read.
    """
    return _unsettled(_suspects_of_all(on=programme.local_day(at)), at=at)


def unsettled_among(operation_ids: Iterable[int], *, at: datetime) -> list[Unsettled]:
    """Return which of these operations are unsettled. Raises CannotTell as `unsettled`."""
    suspects = _suspects_among(on=programme.local_day(at), operations=operation_ids)
    return _unsettled(suspects, at=at)


def _unsettled(suspects: list[int], *, at: datetime) -> list[Unsettled]:
    return _among(Operation.objects.filter(pk__in=suspects), at=at) if suspects else []


def latest_confirmations(operations: Iterable[Operation]) -> dict[int, Confirmation]:
    """Return the latest confirmation of each operation that has one, by the operation's id."""
    rows = _confirmations(operations=[operation.pk for operation in operations])
    return {row.operation_id: row for row in rows}


@prepared
def _confirmations() -> QuerySet[Confirmation]:
    rows = Confirmation.objects.filter(operation__among=GivenIds("operations"))
    return rows.select_related("by").order_by("id")


def _among(operations: OperationQuerySet, *, at: datetime) -> list[Unsettled]:
    found = []
    listed = list(operations.select_related("patient", "procedure").order_by("or_date", "id"))
    confirmations = latest_confirmations(listed)
    for given in answers(listed, at=at):
        if given.verdict.word == Word.CANNOT_TELL:
            raise CannotTell
        confirmation = confirmations.get(given.operation.pk)
        change = what_changed(
            booking=given.operation.booking,
            or_date=given.operation.or_date,
            confirmed_date=confirmation.or_date if confirmation else None,
            word=given.verdict.word,
            holds=holds(given),
            accepted=accepted(confirmation),
        )
        if change:
            found.append(Unsettled(change, given, confirmation))
    return found


def _confirmed_once(on: date) -> OperationQuerySet:
    """Operations from today on that the schedule calls confirmed, or that somebody confirmed."""
    confirmed = Confirmation.objects.filter(operation=OuterRef("pk"))
    return Operation.objects.upcoming(on=on).filter(
        Q(booking=Booking.CONFIRMED) | Q(Exists(confirmed), booking=Booking.PROPOSED)
    )


def _suspects(operations: OperationQuerySet) -> OperationQuerySet:
    """Those that SQL cannot acquit: the date is another one, or something is not cleared."""
    due_before = Assignment.objects.still_open().filter(due_before_operation=True)
    needed = due_before.filter(operation=OuterRef("pk"))
    cleared = due_before.filter(operation=OuterRef("operation")).cleared()
    # Not "filter(not cleared)": asked that way, PostgreSQL needs four times as long.
    not_cleared = needed.exclude(pk__in=cleared.values("pk"))
    not_clear = Q(Exists(not_cleared)) | ~Q(Exists(needed))
    later = Confirmation.objects.filter(operation=OuterRef("operation"), id__gt=OuterRef("id"))
    same_date = Confirmation.objects.filter(
        ~Exists(later), operation=OuterRef("pk"), or_date=OuterRef("or_date")
    )
    moved = Exists(Confirmation.objects.filter(operation=OuterRef("pk"))) & ~Exists(same_date)
    return operations.filter(Q(not_clear, booking=Booking.CONFIRMED) | moved)


# Built once, as every page of whoever confirms asks it. PostgreSQL plans it anew each time: the
# plan hangs on how many operations are still to come.
_suspects_of_all = Prepared(
    lambda: _suspects(_confirmed_once(_ON)).values_list("pk", flat=True), keep_plan=False
)
_suspects_among = Prepared(
    lambda: _suspects(_confirmed_once(_ON).filter(pk__among=GivenIds("operations"))).values_list(
        "pk", flat=True
    ),
    keep_plan=False,
)
