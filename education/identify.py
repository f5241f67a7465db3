"""Decide whose a submission is, and let clearance follow: by the rule, by staff, and undone."""

from datetime import datetime

from django.db import transaction

from education.clear import clear_by_quiz, revoke
from education.models import (
    MATCHED,
    IdentityDecision,
    IdentityVerdict,
    Submission,
)
from patients import programme
from patients.lookup import whose
from patients.models import Patient
from patients.rules.identity import Claim, Decision, Policy, Verdict


class DecidedMeanwhile(Exception):
    """Somebody decided about the submission since the page was shown."""


def consider(submission: Submission) -> Decision:
    """Ask the identity rule about a submission, with the patient whose link was used."""
    claim = Claim(submission.given_names, submission.family_names, submission.birth_date)
    link_patient = submission.attempt.invitation.assignment.operation.patient_id
    policy = Policy(programme.current().matching)
    return whose(claim, link_patient_id=link_patient, policy=policy)


def identify(submission: Submission, *, at: datetime) -> IdentityDecision | None:
    """Match a submission if the rule may do so alone; else leave it to a person."""
    decision = consider(submission)
    if decision.verdict != Verdict.AUTOMATIC or decision.person_id is None:
        return None
    try:
        with transaction.atomic():
            return _decide(
                submission,
                IdentityVerdict.MATCHED_AUTOMATICALLY,
                patient=Patient.objects.get(pk=decision.person_id),
                reasons=[str(reason) for reason in decision.reasons],
                at=at,
                by_id=None,
            )
    except DecidedMeanwhile:  # by a person, or by another enrolment: what they decided stands
        return None


def identify_again(patient: Patient, *, at: datetime) -> int:
    """Ask again about the undecided submissions that a new or corrected patient could explain.

    Nothing matches without an equal date of birth, so only those are asked about. Submissions
    that a person undid or decided are left to people. Returns the new matches.
    """
    untouched = Submission.objects.filter(decisions__isnull=True, birth_date=patient.birth_date)
    return sum(identify(submission, at=at) is not None for submission in untouched)


def match(
    submission: Submission, patient: Patient, *, at: datetime, by_id: int, note: str = ""
) -> IdentityDecision:
    """A member of staff says whose it is. Raises DecidedMeanwhile if it is decided already."""
    weighed = {c.person_id: c.reasons for c in consider(submission).candidates}
    with transaction.atomic():
        return _decide(
            submission,
            IdentityVerdict.MATCHED_BY_STAFF,
            patient=patient,
            reasons=[str(reason) for reason in weighed.get(patient.pk, ())],
            at=at,
            by_id=by_id,
            note=note,
        )


def not_a_patient(
    submission: Submission, *, at: datetime, by_id: int, note: str = ""
) -> IdentityDecision:
    """A member of staff says that it is not a patient of ours; the submission is kept."""
    with transaction.atomic():
        return _decide(
            submission, IdentityVerdict.NOT_A_PATIENT, patient=None, at=at, by_id=by_id, note=note
        )


def undo(submission: Submission, *, at: datetime, by_id: int, reason: str) -> IdentityDecision:
    """Take back the decision in force: the clearance that rested on it is revoked with it.

    Raises DecidedMeanwhile when nothing is in force any more.
    """
    with transaction.atomic():
        Submission.objects.select_for_update().get(pk=submission.pk)
        latest = submission.decisions.order_by("-number").first()
        if latest is None or latest.verdict == IdentityVerdict.UNDONE:
            raise DecidedMeanwhile
        clearance = getattr(latest, "clearance", None)
        if clearance and not hasattr(clearance, "revocation"):
            revoke(clearance, reason=reason, at=at, by_id=by_id)
        return IdentityDecision.objects.create(
            submission=submission,
            number=latest.number + 1,
            verdict=IdentityVerdict.UNDONE,
            note=reason,
            recorded_at=at,
            by_id=by_id,
        )


def _decide(
    submission: Submission,
    verdict: IdentityVerdict,
    *,
    patient: Patient | None,
    at: datetime,
    by_id: int | None,
    reasons: list[str] | None = None,
    note: str = "",
) -> IdentityDecision:
    Submission.objects.select_for_update().get(pk=submission.pk)
    latest = submission.decisions.order_by("-number").first()
    if latest and latest.verdict != IdentityVerdict.UNDONE:
        raise DecidedMeanwhile
    decision = IdentityDecision.objects.create(
        submission=submission,
        number=latest.number + 1 if latest else 1,
        verdict=verdict,
        patient=patient,
        reasons=reasons or [],
        note=note,
        recorded_at=at,
        by_id=by_id,
    )
    if verdict in MATCHED and submission.passed:
        clear_by_quiz(decision, at=at)
    return decision
