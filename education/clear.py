"""Clear a patient for a module, and take it back.

The only code that writes clearances, but for those that a merge carries to the kept record
(education.carry). Whoever clears or revokes holds the patient's row first, as a merge does, so that
nothing is cleared on a record that is merged at the same instant.
"""

from datetime import datetime

from django.db import transaction
from django.dispatch import Signal

from education.escalate import follow_standing
from education.models import (
    Assignment,
    Clearance,
    IdentityDecision,
    Module,
    Revocation,
    SecondOpinion,
    SignOff,
    SignOffRevocation,
    Waiver,
    WaiverRevocation,
)
from education.overtaken import withdraw_where_cleared
from education.rules.standing import Evidence, Standing, late_clearances
from education.standings import standing_of
from patients import programme
from patients.models import Patient
from patients.speaks_for import locked_speaker

# Sent inside the transaction, before a clearance is revoked, so that whoever listens can still
# read what rests on it: clearance, at. Once for each clearance, however often it is revoked.
clearance_ends = Signal()
# Sent inside the transaction, after a sign-off or waiver was taken back: assignment, at.
acceptance_ended = Signal()


class NothingToSignOff(Exception):
    """There is no clearance that a sign-off would make count, or one waits for the second."""


class NothingWaits(Exception):
    """No second clinician is asked any more: somebody answered, or it was taken back."""


class SameClinician(Exception):
    """The second clinician has to be another one than the first."""


def clear_by_quiz(decision: IdentityDecision, *, at: datetime) -> Clearance:
    """Clear the matched patient by a passed quiz, dated by the day on which it was answered.

    That is the day it was handed in, or the day on which a sheet of paper was filled in: then the
    patient showed understanding, however late somebody typed it.
    """
    submission = decision.submission
    if not submission.passed or decision.patient is None:
        raise ValueError("only a passed quiz of a known patient clears")
    clearance = Clearance.objects.create(
        patient=decision.patient,
        module_id=submission.edition.module_id,
        edition=submission.edition,
        cleared_on=submission.answered_on or programme.local_day(submission.recorded_at),
        evidence=Evidence.QUIZ,
        decision=decision,
        recorded_at=at,
        by_id=decision.by_id,
    )
    _follow(decision.patient, clearance.module_id, at=at)
    return clearance


def clear_by_teach_back(
    patient: Patient, module: Module, *, at: datetime, by_id: int, note: str
) -> Clearance:
    """Clear a patient who said it in their own words to a member of staff, today."""
    with transaction.atomic():
        clearance = Clearance.objects.create(
            patient=locked_speaker(patient),
            module=module,
            edition=module.latest_edition,
            cleared_on=programme.local_day(at),
            evidence=Evidence.TEACH_BACK,
            note=note,
            recorded_at=at,
            by_id=by_id,
        )
        _follow(clearance.patient, module.pk, at=at)
    return clearance


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

    Raises NothingToSignOff when there is none, or when a sign-off waits for the
    second clinician already.
    """
    with transaction.atomic():
        # Read anew: the date may have moved since the caller loaded its copy.
        assignment = _locked(assignment)
        told = standing_of(assignment, on=programme.local_day(at))
        late = late_clearances(told.facts)
        if told.answer.standing != Standing.NEEDS_SIGN_OFF or any(c.awaits_second for c in late):
            raise NothingToSignOff
        first = min(late, key=lambda one: one.cleared_on)
        signed = SignOff.objects.create(
            assignment=assignment,
            clearance_id=first.id,
            reason=reason,
            needs_second=programme.current().second_clinician,
            recorded_at=at,
            by_id=by_id,
        )
        _withdraw(assignment, at=at)
    return signed


def revoke_sign_off(sign_off: SignOff, *, reason: str, at: datetime, by_id: int) -> None:
    """Take a sign-off back, wherever merges carried it. A second time changes nothing."""
    with transaction.atomic():
        _locked(sign_off.assignment)
        for same in _on_the_same_evidence(sign_off):
            SignOffRevocation.objects.get_or_create(
                sign_off=same, defaults={"reason": reason, "recorded_at": at, "by_id": by_id}
            )
        acceptance_ended.send(sender=SignOff, assignment=sign_off.assignment, at=at)


def waive(assignment: Assignment, *, reason: str, at: datetime, by_id: int) -> Waiver:
    """A clinician says that this operation can go ahead without this module, and why.

    One that holds, or waits for the second clinician, is returned as it is.
    """
    with transaction.atomic():
        assignment = _locked(assignment)
        earlier = Waiver.objects.standing().filter(assignment=assignment).first()
        if isinstance(earlier, Waiver):
            return earlier
        waiver = Waiver.objects.create(
            assignment=assignment,
            reason=reason,
            needs_second=programme.current().second_clinician,
            recorded_at=at,
            by_id=by_id,
        )
        _withdraw(assignment, at=at)
    return waiver


def revoke_waiver(waiver: Waiver, *, reason: str, at: datetime, by_id: int) -> WaiverRevocation:
    """Take a waiver back."""
    with transaction.atomic():
        _locked(waiver.assignment)
        revocation, _ = WaiverRevocation.objects.get_or_create(
            waiver=waiver, defaults={"reason": reason, "recorded_at": at, "by_id": by_id}
        )
        acceptance_ended.send(sender=Waiver, assignment=waiver.assignment, at=at)
    return revocation


def give_second_opinion(
    accepted: SignOff | Waiver, *, agrees: bool, reason: str, at: datetime, by_id: int
) -> None:
    """The second clinician agrees, and it counts from now on, or declines, and it never will.

    Raises NothingWaits when nobody is asked any more, and SameClinician.
    """
    with transaction.atomic():
        assignment = _locked(accepted.assignment)
        if not type(accepted).objects.waiting().filter(pk=accepted.pk).exists():
            raise NothingWaits
        if accepted.by_id == by_id:
            raise SameClinician
        if isinstance(accepted, Waiver):
            SecondOpinion.objects.create(
                waiver=accepted, agrees=agrees, reason=reason, recorded_at=at, by_id=by_id
            )
            _withdraw(assignment, at=at)
            return
        for same in _on_the_same_evidence(accepted):
            SecondOpinion.objects.get_or_create(
                sign_off=same,
                defaults={"agrees": agrees, "reason": reason, "recorded_at": at, "by_id": by_id},
            )
        _withdraw(assignment, at=at)


def _withdraw(assignment: Assignment, *, at: datetime) -> None:
    _follow(assignment.operation.patient, assignment.module_id, at=at)


def _follow(patient: Patient, module_id: int, *, at: datetime) -> None:
    """Take back what is not wanted any more: emails, and help to reach the patient."""
    withdraw_where_cleared(patient, module_id, at=at)
    follow_standing({patient.pk}, at=at)


def _locked(assignment: Assignment) -> Assignment:
    """Lock the patient first: a merge carries what was accepted, and moves the operation."""
    locked_speaker(assignment.operation.patient)
    return Assignment.objects.select_for_update().get(pk=assignment.pk)


def _on_the_same_evidence(sign_off: SignOff) -> list[SignOff]:
    """Return the sign-offs of an assignment that rest on one clearance, carried or not."""
    original = sign_off.clearance.original
    rows = SignOff.objects.filter(assignment=sign_off.assignment_id, by=sign_off.by_id)
    standing = rows.filter(revocation__isnull=True).select_related("clearance")
    return [row for row in standing.order_by("pk") if row.clearance.original == original]
