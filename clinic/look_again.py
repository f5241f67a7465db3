"""Tell whoever confirmed an OR date that what it rested on holds no longer.

A row for each email is written in the transaction of the act that causes it (promise B2): the date
moves, a clearance, sign-off or waiver is taken back, a requirement changes, a merge is undone. The
email says nothing but that there is something to look at; what it is stands on the operations page.
"""

import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.core.mail.backends.base import BaseEmailBackend
from django.db import transaction
from django.db.models import Model, QuerySet
from django.urls import reverse

from clinic.day_words import day
from clinic.models import Alarm, Confirmation, StaffUser
from clinic.unsettled import (
    Change,
    Unsettled,
    accepted,
    held,
    latest_confirmations,
    unsettled,
    unsettled_among,
)
from education import emails
from education.assign import assignments_followed
from education.carry import with_carried
from education.clear import acceptance_ended, clearance_ends
from education.models import Assignment, Clearance, Message
from education.rules.standing import Facts, Standing, standing
from education.standings import Told, standings
from patients import programme
from patients.batches import batches
from patients.clock import local_date
from patients.merge import merge_undone
from patients.models import (
    Booking,
    Language,
    Merge,
    Operation,
    OperationChange,
    OperationMoved,
    Patient,
    Programme,
)
from patients.wake import wake

LOOK_AGAIN = "look_again"


@dataclass(frozen=True)
class Resting:
    """A confirmed OR date that stops being clear with a clearance, and who confirmed it."""

    operation: Operation
    confirmation: Confirmation

    @property
    def words(self) -> str:
        """What somebody about to revoke the clearance should know."""
        on_date = ", ".join(
            part for part in (day(self.confirmation.or_date), self.operation.surgeon) if part
        )
        return f"An OR date confirmed on it: {on_date}; {_told_words(self.confirmation.by)}."


def connect() -> None:
    """Listen for clearances and merges that end, and bring the email; called once when ready."""
    assignments_followed.connect(look_at_operations, dispatch_uid="look-at-operations")
    acceptance_ended.connect(look_at_one, dispatch_uid="look-at-one")
    clearance_ends.connect(tell_who_confirmed, dispatch_uid="tell-who-confirmed")
    merge_undone.connect(tell_who_confirmed_meanwhile, dispatch_uid="tell-who-confirmed-meanwhile")
    emails.WITHOUT_LINK[LOOK_AGAIN] = look_again_email


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
    for one, confirmation in _confirmed(confirmed, modules=modules, on=on, used=used):
        fewer = replace(
            one.facts, clearances=tuple(c for c in one.facts.clearances if c.id not in ending)
        )
        well = _stands(one, one.facts, confirmation, used.notice_days, on=on)
        if well and not _stands(one, fewer, confirmation, used.notice_days, on=on):
            found.append(Resting(one.assignment.operation, confirmation))
    return found


def _confirmed(
    operations: QuerySet[Operation], *, modules: set[int] | None, on: date, used: Programme
) -> Iterator[tuple[Told, Confirmation]]:
    """Yield how each module that is due before these operations stands, and who confirmed them."""
    rows = Assignment.objects.still_open().filter(operation__in=operations)
    if modules is not None:
        rows = rows.filter(module__in=modules)
    told = standings(
        rows.filter(due_before_operation=True)
        .select_related("operation__patient", "module")
        .order_by("operation__or_date", "id"),
        on=on,
        settings=used,
    )
    confirmations = latest_confirmations([one.assignment.operation for one in told])
    for one in told:
        operation = one.assignment.operation
        confirmation = confirmations.get(operation.pk)
        if confirmation is None or confirmation.or_date != operation.or_date:
            continue  # the schedule confirmed it, or another date was confirmed
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
    _tell_not_clear((one.confirmation for one in resting_on([clearance], at=at)), patient, at=at)


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
    confirmations = [
        confirmation
        for one, confirmation in _confirmed(returned, modules=None, on=on, used=used)
        if confirmation.recorded_at >= merge.recorded_at
        and not _stands(one, one.facts, confirmation, used.notice_days, on=on)
    ]
    _tell_not_clear(confirmations, merged, at=at)


def _tell_not_clear(
    confirmations: Iterable[Confirmation], patient: Patient, *, at: datetime
) -> None:
    tell((Lapsed(one, Change.NO_LONGER_CLEAR, patient.pk) for one in confirmations), at=at)


def look_at_operations(
    sender: type[Model], operations: Sequence[Operation], at: datetime, **kwargs: Any
) -> None:
    """Dates moved, bookings or requirements changed: write to whoever confirmed what lapsed."""
    for some in batches(operation.pk for operation in operations):
        confirmed = Confirmation.objects.filter(operation__in=some)
        look_at(confirmed.values_list("operation", flat=True).distinct(), at=at)


def look_at_one(sender: type[Model], assignment: Assignment, at: datetime, **kwargs: Any) -> None:
    """What a clinician had accepted does not count any more."""
    look_at([assignment.operation_id], at=at)


def look_at_everything(*, at: datetime) -> None:
    """Find what lapsed without an act that said so, and what is settled; safe to run twice."""
    open_alarms = Alarm.objects.filter(over_at__isnull=True)
    alarmed = set(open_alarms.values_list("confirmation__operation", flat=True))
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
        found = {
            (one.confirmation.pk, str(one.change)): one
            for one in unsettled_among(ids, at=at)
            if one.confirmation
        }
        alarms = Alarm.objects.filter(confirmation__operation__in=ids, over_at__isnull=True)
        known = {(alarm.confirmation_id, alarm.cause): alarm.pk for alarm in alarms}
        over = [pk for key, pk in known.items() if key not in found]
        Alarm.objects.filter(pk__in=over).update(over_at=at)
        tell([_lapsed(one) for key, one in found.items() if key not in known], at=at)


@dataclass(frozen=True)
class Lapsed:
    """A confirmation that does not fit its operation any more, and why.

    `known`: whoever confirmed it did this, and needs no email about it.
    """

    confirmation: Confirmation
    cause: Change
    patient_id: int
    known: bool = False


def _lapsed(one: Unsettled) -> Lapsed:
    operation, confirmation = one.given.operation, one.confirmation
    if confirmation is None:
        raise ValueError("nobody confirmed it")
    last = OperationChange.objects.filter(operation=operation).order_by("-version").first()
    moved = one.change == Change.DATE_MOVED
    own_act = moved and last is not None and last.by_id == confirmation.by_id
    return Lapsed(confirmation, one.change, operation.patient_id, own_act)


def tell(lapsed: Iterable[Lapsed], *, at: datetime) -> None:
    """Open an alarm for each, and write one email to each of those who confirmed.

    An alarm of the same cause that is still open is over: that had been settled.
    """
    by_key = {(one.confirmation.pk, one.cause): one for one in lapsed}
    about: dict[StaffUser, set[int]] = defaultdict(set)
    for one in by_key.values():
        alarms = Alarm.objects.filter(confirmation=one.confirmation, cause=one.cause)
        alarms.filter(over_at__isnull=True).update(over_at=at)
        Alarm.objects.create(confirmation=one.confirmation, cause=one.cause, recorded_at=at)
        if one.confirmation.by.is_active and not one.known:
            about[one.confirmation.by].add(one.patient_id)
    for member, patients in sorted(about.items(), key=lambda item: item[0].pk):
        _write(member, patients.pop() if len(patients) == 1 else None, at=at)


def _write(member: StaffUser, patient_id: int | None, *, at: datetime) -> None:
    message = Message.objects.create(
        purpose=LOOK_AGAIN,
        patient_id=patient_id,
        address=member.email,
        language=Language.ENGLISH,
        message_id=f"<{uuid.uuid4()}@{settings.MAIL_DOMAIN}>",
        next_try_at=at,
        recorded_at=at,
    )
    wake("education.tasks.send_message", message.pk)


def look_again_email(message: Message, *, connection: BaseEmailBackend) -> EmailMultiAlternatives:
    """Return the email that asks a member of staff to look at the operations page."""
    link = settings.PUBLIC_URL + reverse("look-again")
    return emails.written(message, LOOK_AGAIN, {"link": link}, connection=connection)


def _stands(told: Told, facts: Facts, confirmation: Confirmation, notice: int, *, on: date) -> bool:
    word = standing(facts, on=on, notice_days=notice).standing
    code = told.assignment.module.code
    return word == Standing.CLEARED or held(code, word) in accepted(confirmation)


def _told_words(member: StaffUser) -> str:
    if member.is_active:
        return f"{member.name} will be told"
    return (
        f"{member.name} confirmed it and has no account any more, so nobody is told by email: "
        "it stands on the operations page"
    )
