"""Tell whoever confirmed an OR date that what it rested on holds no longer.

A row for each email is written in the transaction that revokes the clearance (promise B2). The
email says nothing but that there is something to look at; what it is stands on the operations page.
"""

import uuid
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.core.mail.backends.base import BaseEmailBackend
from django.db.models import Model, QuerySet
from django.urls import reverse

from clinic.day_words import day
from clinic.models import Confirmation, StaffUser
from clinic.unsettled import accepted, held, latest_confirmations
from education import emails
from education.carry import with_carried
from education.clear import clearance_ends
from education.models import Assignment, Clearance, Message
from education.rules.standing import Facts, Standing, standing
from education.standings import Told, standings
from patients import programme
from patients.clock import local_date
from patients.merge import merge_undone
from patients.models import (
    Booking,
    Language,
    Merge,
    Operation,
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
    _write({one.confirmation.by for one in resting_on([clearance], at=at)}, patient, at=at)


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
    confirmers = {
        confirmation.by
        for one, confirmation in _confirmed(returned, modules=None, on=on, used=used)
        if confirmation.recorded_at >= merge.recorded_at
        and not _stands(one, one.facts, confirmation, used.notice_days, on=on)
    }
    _write(confirmers, merged, at=at)


def _write(confirmers: Iterable[StaffUser], patient: Patient, *, at: datetime) -> None:
    for member in sorted(confirmers, key=lambda member: member.pk):
        if not member.is_active:
            continue
        message = Message.objects.create(
            purpose=LOOK_AGAIN,
            patient=patient,
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
