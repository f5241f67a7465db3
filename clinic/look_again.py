"""Find the confirmed OR dates that do not rest on what they did any more, when something ends.

A row for each email is written in the transaction of the act that causes it (promise B2): the date
moves, a clearance, sign-off or waiver is taken back, a requirement changes, a merge is undone. Who
is written to stands in `clinic.alarms`.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import Exists, Model, OuterRef, Q, QuerySet
from django.db.models.functions import Coalesce

from clinic import alarms
from clinic.alarms import Lapsed, open_among, tell, who_is_told_words
from clinic.day_words import day
from clinic.models import Alarm, Confirmation
from clinic.unsettled import (
    Change,
    Unsettled,
    accepted,
    held,
    latest_confirmations,
    unsettled,
    unsettled_among,
)
from education.assign import assignments_followed
from education.carry import with_carried
from education.clear import acceptance_ended, clearance_ends
from education.models import Assignment, Clearance
from education.rules.standing import Facts, Standing, standing
from education.standings import Told, standings
from patients import programme
from patients.batches import batches
from patients.clock import local_date
from patients.merge import merge_undone
from patients.models import (
    Booking,
    Merge,
    Operation,
    OperationChange,
    OperationMoved,
    Patient,
)
from patients.prepared import GivenIds, prepared


@dataclass(frozen=True)
class Resting:
    """A confirmed OR date that stops being clear with a clearance, and who confirmed it.

    `confirmation` is None where the schedule alone did.
    """

    operation: Operation
    confirmation: Confirmation | None

    @property
    def words(self) -> str:
        """What somebody about to revoke the clearance should know."""
        or_date = self.operation.or_date
        parts = (day(or_date) if or_date else "", self.operation.surgeon)
        on_date = ", ".join(part for part in parts if part)
        return f"An OR date confirmed on it: {on_date}; {who_is_told_words(self.confirmation)}."


def connect() -> None:
    """Listen for clearances and merges that end, and bring the email; called once when ready."""
    assignments_followed.connect(look_at_operations, dispatch_uid="look-at-operations")
    acceptance_ended.connect(look_at_one, dispatch_uid="look-at-one")
    clearance_ends.connect(tell_who_confirmed, dispatch_uid="tell-who-confirmed")
    merge_undone.connect(tell_who_confirmed_meanwhile, dispatch_uid="tell-who-confirmed-meanwhile")
    alarms.connect()


def resting_on(clearances: Iterable[Clearance], *, at: datetime) -> list[Resting]:
    """Return the confirmations in force that rest on these clearances, the soonest first.

    Asked before the clearances are revoked. A confirmation rests on them when the module stands
    well with them, cleared or as a clinician accepted it, and does not without.
    """
    clearances = list(clearances)
    ending = {clearance.pk for clearance in clearances}
    used = programme.current()
    on = local_date(at, used.zone)
    confirmed = Operation.objects.upcoming(on=on).filter(
        booking=Booking.CONFIRMED, patient__in={c.patient_id for c in clearances}
    )
    modules = {c.module_id for c in clearances}
    found = []
    for one, confirmation in _confirmed(confirmed, modules=modules, on=on):
        fewer = replace(
            one.facts, clearances=tuple(c for c in one.facts.clearances if c.id not in ending)
        )
        well = _stands(one, one.facts, confirmation, used.notice_days, on=on)
        if well and not _stands(one, fewer, confirmation, used.notice_days, on=on):
            found.append(Resting(one.assignment.operation, confirmation))
    return found


def _confirmed(
    operations: QuerySet[Operation], *, modules: set[int] | None, on: date
) -> Iterator[tuple[Told, Confirmation | None]]:
    """Yield how each module that is due before these operations stands, and who confirmed them.

    None: the schedule did.
    """
    rows = Assignment.objects.still_open().filter(operation__in=operations)
    if modules is not None:
        rows = rows.filter(module__in=modules)
    told = standings(
        rows.filter(due_before_operation=True)
        .select_related("operation__patient", "module")
        .order_by("operation__or_date", "id"),
        on=on,
    )
    confirmations = latest_confirmations([one.assignment.operation for one in told])
    for one in told:
        operation = one.assignment.operation
        confirmation = confirmations.get(operation.pk)
        if confirmation and confirmation.or_date != operation.or_date:
            continue  # another date was confirmed
        yield one, confirmation


def same_evidence(clearance: Clearance) -> list[Clearance]:
    """Return a clearance and what merges made of it on other records: they are revoked together."""
    return with_carried([clearance.original])


def tell_who_confirmed(
    sender: type[Model], clearance: Clearance, at: datetime, **kwargs: Any
) -> None:
    """Write the emails to everybody whose confirmation rests on a clearance that ends now.

    The patient's operations are locked first, as confirming locks its own: whoever confirms at the
    same time has done so before and is told, or waits and finds that the answer changed.
    """
    patient = clearance.patient
    list(Operation.objects.select_for_update().filter(patient=patient).order_by("pk"))
    resting = resting_on([clearance], at=at)
    tell((_not_clear(one.operation, one.confirmation) for one in resting), at=at)


def tell_who_confirmed_meanwhile(
    sender: type[Model], merged: Patient, merge: Merge, at: datetime, **kwargs: Any
) -> None:
    """A merge was undone: write to everybody who confirmed an operation while two records were one.

    Only where it went back to the other record and is not clear with what that has itself.
    """
    used = programme.current()
    on = local_date(at, used.zone)
    returned = Operation.objects.upcoming(on=on).filter(
        booking=Booking.CONFIRMED,
        patient=merged,
        pk__in=OperationMoved.objects.filter(merge=merge).values("operation"),
    )
    lapsed = [
        _not_clear(one.assignment.operation, confirmation)
        for one, confirmation in _confirmed(returned, modules=None, on=on)
        if (confirmation is None or confirmation.recorded_at >= merge.recorded_at)
        and not _stands(one, one.facts, confirmation, used.notice_days, on=on)
    ]
    tell(lapsed, at=at)


def _not_clear(operation: Operation, confirmation: Confirmation | None) -> Lapsed:
    return Lapsed(operation, confirmation, Change.NO_LONGER_CLEAR)


def look_at_operations(
    sender: type[Model], operations: Sequence[Operation], at: datetime, **kwargs: Any
) -> None:
    """Dates moved, bookings or requirements changed: write to whoever confirmed what lapsed."""
    for some in batches(operation.pk for operation in operations):
        look_at(_confirmed_among(operations=some), at=at)


@prepared
def _confirmed_among() -> "QuerySet[Operation, int]":
    confirmed = Q(booking=Booking.CONFIRMED) | Exists(
        Confirmation.objects.filter(operation=OuterRef("pk"))
    )
    rows = Operation.objects.filter(confirmed, pk__among=GivenIds("operations"))
    return rows.values_list("pk", flat=True)


def look_at_one(sender: type[Model], assignment: Assignment, at: datetime, **kwargs: Any) -> None:
    """What a clinician had accepted does not count any more."""
    look_at([assignment.operation_id], at=at)


def look_at_everything(*, at: datetime) -> None:
    """Find what lapsed without an act that said so, and what is settled; safe to run twice."""
    rows = Alarm.objects.filter(over_at__isnull=True)
    whose = Coalesce("operation", "confirmation__operation")
    alarmed = set(rows.values_list(whose, flat=True))
    for some in batches(sorted(alarmed | {one.given.operation.pk for one in unsettled(at=at)})):
        look_at(some, at=at)


def look_at(operation_ids: Iterable[int], *, at: datetime) -> None:
    """Say of operations which alarms are over, and write where a new one is due.

    The operations are locked first, as confirming locks its own.
    """
    ids = sorted(operation_ids)
    if not ids:
        return
    with transaction.atomic():
        list(Operation.objects.select_for_update().filter(pk__in=ids).order_by("pk"))
        found = {_key(one): one for one in unsettled_among(ids, at=at)}
        known = {
            (alarm.operation_id, alarm.confirmation_id, alarm.cause): alarm.pk
            for alarm in open_among(ids)
        }
        over = [pk for key, pk in known.items() if key not in found]
        Alarm.objects.filter(pk__in=over).update(over_at=at)
        tell([_lapsed(one) for key, one in found.items() if key not in known], at=at)


def _key(one: Unsettled) -> tuple[int | None, int | None, str]:
    """Return by what an alarm is known: the confirmation, or without one the operation."""
    if one.confirmation:
        return None, one.confirmation.pk, str(one.change)
    return one.given.operation.pk, None, str(one.change)


def _lapsed(one: Unsettled) -> Lapsed:
    operation = one.given.operation
    last = OperationChange.objects.filter(operation=operation).order_by("-version").first()
    done_by = last.by_id if last and one.change == Change.DATE_MOVED else None
    return Lapsed(operation, one.confirmation, one.change, done_by)


def _stands(
    told: Told, facts: Facts, confirmation: Confirmation | None, notice: int, *, on: date
) -> bool:
    word = standing(facts, on=on, notice_days=notice).standing
    code = told.assignment.module.code
    return word == Standing.CLEARED or held(code, word) in accepted(confirmation)
