"""Clear a patient for a module, and take it back.

The only code that writes clearances, but for those that a merge carries to the kept record
(education.carry). Whoever clears or revokes holds the patient's row first, as a merge does, so that
nothing is cleared on a record that is merged at the same instant.
"""

from datetime import datetime

from django.db import transaction
from django.dispatch import Signal

from education.models import (
    Assignment,
    Clearance,
    IdentityDecision,
    Module,
    Revocation,
    SignOff,
    Waiver,
    WaiverRevocation,
)
from education.rules.standing import Evidence, Standing, late_clearances
from education.standings import standing_of
from patients import programme
from patients.models import Patient
from patients.speaks_for import locked_speaker

# Sent inside the transaction, before a clearance is revoked, so that whoever listens can still
# read what rests on it: clearance, at. Once for each clearance, however often it is revoked.
clearance_ends = Signal()


class NothingToSignOff(Exception):
    """There is no clearance that a sign-off would make count."""


def clear_by_quiz(decision: IdentityDecision, *, at: datetime) -> Clearance:
    """Clear the matched patient by a passed quiz, dated by the day it was handed in."""
    submission = decision.submission
    if not submission.passed or decision.patient is None:
        raise ValueError("only a passed quiz of a known patient clears")
    return Clearance.objects.create(
        patient=decision.patient,
        module=submission.edition.module,
        edition=submission.edition,
        cleared_on=programme.local_day(submission.recorded_at),
        evidence=Evidence.QUIZ,
        decision=decision,
        recorded_at=at,
        by_id=decision.by_id,
    )


def clear_by_teach_back(
    patient: Patient, module: Module, *, at: datetime, by_id: int, note: str
) -> Clearance:
    """Clear a patient who said it in their own words to a member of staff, today."""
    with transaction.atomic():
        return Clearance.objects.create(
            patient=locked_speaker(patient),
            module=module,
            edition=module.editions.order_by("-number")[0],
            cleared_on=programme.local_day(at),
            evidence=Evidence.TEACH_BACK,
            note=note,
            recorded_at=at,
            by_id=by_id,
        )


def revoke(clearance: Clearance, *, reason: str, at: datetime, by_id: int) -> Revocation:
    """Say that a clearance no longer holds. A second revocation returns the first.

    What a merge carried to another record is the same evidence: revoked on one of them, it is
    revoked on all.
    """
    with transaction.atomic():
        locked_speaker(clearance.patient)
        earlier = Revocation.objects.filter(clearance=clearance).first()
        if earlier:
            return earlier
        revoke_here(clearance.original, reason=reason, at=at, by_id=by_id)
        return revoke_here(clearance, reason=reason, at=at, by_id=by_id)


def revoke_here(clearance: Clearance, *, reason: str, at: datetime, by_id: int) -> Revocation:
    """Revoke a clearance and what was carried on from it, not what it was itself carried from."""
    with transaction.atomic():
        clearance = Clearance.objects.select_for_update().get(pk=clearance.pk)
        earlier = Revocation.objects.filter(clearance=clearance).first()
        if earlier:
            return earlier
        clearance_ends.send(sender=Clearance, clearance=clearance, at=at)
        revocation = Revocation.objects.create(
            clearance=clearance, reason=reason, recorded_at=at, by_id=by_id
        )
        for carried in clearance.carried_to.order_by("pk"):
            revoke_here(carried, reason=reason, at=at, by_id=by_id)
    return revocation


def sign_off(assignment: Assignment, *, reason: str, at: datetime, by_id: int) -> SignOff:
    """A clinician accepts the first clearance that came after the clear-by date.

    Raises NothingToSignOff when there is none up to the OR date.
    """
    with transaction.atomic():
        # Read anew: the date may have moved since the caller loaded its copy.
        assignment = Assignment.objects.select_for_update().get(pk=assignment.pk)
        told = standing_of(assignment, on=programme.local_day(at))
        if told.answer.standing != Standing.NEEDS_SIGN_OFF:
            raise NothingToSignOff
        first = min(late_clearances(told.facts), key=lambda late: late.cleared_on)
        return SignOff.objects.create(
            assignment=assignment,
            clearance_id=first.id,
            reason=reason,
            recorded_at=at,
            by_id=by_id,
        )


def waive(assignment: Assignment, *, reason: str, at: datetime, by_id: int) -> Waiver:
    """A clinician says that this operation can go ahead without this module, and why."""
    return Waiver.objects.create(assignment=assignment, reason=reason, recorded_at=at, by_id=by_id)


def revoke_waiver(waiver: Waiver, *, reason: str, at: datetime, by_id: int) -> WaiverRevocation:
    """Take a waiver back."""
    with transaction.atomic():
        revocation, _ = WaiverRevocation.objects.get_or_create(
            waiver=waiver, defaults={"reason": reason, "recorded_at": at, "by_id": by_id}
        )
    return revocation
