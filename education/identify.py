"""Decide whose a submission is, and let clearance follow: by the rule, by staff, and undone."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, timedelta

from django.db import transaction
from django.db.models import BigIntegerField, QuerySet

from education.clear import clear_by_quiz, revoke
from education.escalate import follow_standing
from education.models import (
    MATCHED,
    IdentityDecision,
    IdentityVerdict,
    Submission,
    SubmissionNote,
)
from patients import programme
from patients.batches import batches
from patients.lookup import whose
from patients.models import MatchName, Merge, Operation, Patient, PatientChange
from patients.prepared import Given, GivenIds, Prepared, prepared
from patients.rules.date_likeness import dates_near
from patients.rules.identity import Claim, Decision, Policy, Why
from patients.speaks_for import locked_speaker

LATELY = timedelta(minutes=10)  # longer than any change of the register takes to be stored


class DecidedMeanwhile(Exception):
    """Somebody decided about the submission since the page was shown."""


def consider(submission: Submission) -> Decision:
    """Ask the identity rule about a submission, with the patient whose link was used."""
    claim = Claim(submission.given_names, submission.family_names, submission.birth_date)
    (link_patient,) = _whose_link(operation=_operation_of(submission).pk)
    policy = Policy(programme.current().matching)
    return whose(claim, link_patient_id=link_patient, policy=policy)


def _operation_of(submission: Submission) -> Operation:
    return submission.attempt.invitation.assignment.operation


@prepared
def _whose_link() -> "QuerySet[Operation, int]":
    """Read anew each time: a merge moves operations."""
    one = Operation.objects.filter(pk=Given("operation", BigIntegerField()))
    return one.values_list("patient", flat=True)


def beside(submission: Submission, patient: Patient) -> tuple[Why, ...]:
    """Say what agrees and what differs beside one patient, whoever else may be meant."""
    claim = Claim(submission.given_names, submission.family_names, submission.birth_date)
    asked = whose(claim, link_patient_id=patient.pk, policy=Policy.NEVER)
    of_the_names = next(c.reasons for c in asked.candidates if c.person_id == patient.pk)
    (link_patient,) = _whose_link(operation=_operation_of(submission).pk)
    by_link = Why.LINK_AGREES if link_patient == patient.pk else Why.LINK_WAS_SOMEBODY_ELSES
    return tuple(by_link if why == Why.LINK_AGREES else why for why in of_the_names)


def identify(submission: Submission, *, at: datetime, new: bool = False) -> IdentityDecision | None:
    """Match a submission if the rule may do so alone; else leave it to a person.

    What the rule says holds if the patient was held before it was asked: until then they may be
    corrected, merged or parted. `new`: this transaction wrote it, so that nobody else can have
    seen it, let alone decided; nearly all are the patient's whose link it was.
    """
    meant = _operation_of(submission).patient_id if new else consider(submission).person_id
    while meant is not None:
        try:
            with transaction.atomic():
                patient = locked_speaker(Patient(pk=meant))
                decision = consider(submission)
                if decision.person_id in (meant, patient.pk):
                    return _decide(
                        submission,
                        IdentityVerdict.MATCHED_AUTOMATICALLY,
                        patient=patient,
                        reasons=[str(reason) for reason in decision.reasons],
                        at=at,
                        by_id=None,
                        new=new,
                    )
                meant = decision.person_id
        except DecidedMeanwhile:  # by a person, or by another enrolment: what they decided stands
            return None
    return None


def identify_again(patients: Sequence[Patient], *, at: datetime, new: bool = False) -> int:
    """Ask again about the undecided submissions that a change of the register could explain.

    A patient is new, corrected, has another name, or was merged or parted. Nothing matches
    without an equal date of birth, so those are asked about that have one of the record's: now,
    earlier (somebody else may be the only one left on it), or on a record merged into it. Unless
    all are `new`, those of a near date as well: the record may have been the namesake that spoke
    against a match. Submissions that a person undid or decided are left to people. One indexed
    query where new patients come and nothing waits; what waits is asked about once, however many
    patients were born on its date. Returns the new matches.
    """
    untouched = asked_about((patient.pk for patient in patients), new=new)
    return sum(identify(one, at=at) is not None for one in untouched)


def asked_about(patient_ids: Iterable[int], *, new: bool = False) -> list[Submission]:
    """Return what waits and is asked about again when these patients change or are merged."""
    untouched: dict[int, Submission] = {}
    for some in batches(patient_ids):
        found = _untouched(patients=some) if new else _untouched_near(some)
        untouched |= {submission.pk: submission for submission in found}
    return list(untouched.values())


def identify_lately(*, at: datetime) -> int:
    """Ask once more about the undecided of the last minutes; returns the new matches.

    While one was handed in, somebody may have been enrolled or corrected: neither transaction sees
    what the other has not stored yet, so that neither asked.
    """
    lately = _waiting().filter(recorded_at__gt=at - LATELY)
    return sum(identify(one, at=at) is not None for one in lately)


def _born_like() -> QuerySet[Submission]:
    return _waiting().filter(birth_date__in=_dates_of(GivenIds("patients")))


# One patient or two thousand are asked about: PostgreSQL plans for those that are.
_untouched = Prepared(_born_like, keep_plan=False)


def _untouched_near(patient_ids: Sequence[int]) -> Iterator[Submission]:
    """Those of the records' dates as well."""
    born = set(_dates(patients=patient_ids))
    for some in batches(sorted(born.union(*map(dates_near, born)))):
        yield from _waiting().filter(birth_date__in=some)


@prepared
def _dates() -> QuerySet[MatchName, date]:
    return _dates_of(GivenIds("patients"))


def _dates_of(patients: GivenIds) -> QuerySet[MatchName, date]:
    """The dates of birth that records have or had, those of records merged into them too."""
    earlier = PatientChange.objects.filter(patient__among=patients).order_by()
    known = MatchName.objects.filter(patient__among=patients).values_list("birth_date", flat=True)
    return known.union(earlier.values_list("birth_date", flat=True))


def _waiting() -> QuerySet[Submission]:
    """Nobody, and not the rule, ever decided about them."""
    rows = Submission.objects.filter(decisions__isnull=True)
    return rows.select_related("edition", "attempt__invitation__assignment__operation")


def match(
    submission: Submission, patient: Patient, *, at: datetime, by_id: int, note: str = ""
) -> IdentityDecision:
    """A member of staff says whose it is. Raises DecidedMeanwhile if it is decided already.

    Said of a merged record, it is the patient's who speaks for it.
    """
    with transaction.atomic():
        patient = locked_speaker(patient)
        return _decide(
            submission,
            IdentityVerdict.MATCHED_BY_STAFF,
            patient=patient,
            reasons=[str(reason) for reason in beside(submission, patient)],
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


def leave_note(submission: Submission, text: str, *, at: datetime, by_id: int) -> SubmissionNote:
    """Keep what a member of staff found out, without deciding whose it is."""
    return SubmissionNote.objects.create(
        submission=submission, text=text, recorded_at=at, by_id=by_id
    )


def undo(
    submission: Submission, *, at: datetime, by_id: int, reason: str, seen: int | None = None
) -> IdentityDecision:
    """Take back the decision in force: the clearance that rested on it is revoked with it.

    `seen`: the decision that was shown to whoever undoes it. Raises DecidedMeanwhile when nothing
    is in force any more, or another decision than that.
    """
    with transaction.atomic():
        in_hand = submission.decisions.order_by("-number").first()
        if in_hand and in_hand.patient:
            locked_speaker(in_hand.patient)
        latest = _hold(submission)
        if latest is None or latest.verdict == IdentityVerdict.UNDONE:
            raise DecidedMeanwhile
        if seen is not None and latest.pk != seen:
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
    new: bool = False,
) -> IdentityDecision:
    """Whoever calls holds the patient."""
    latest = None if new else _hold(submission)
    if latest and latest.verdict != IdentityVerdict.UNDONE:
        raise DecidedMeanwhile
    # Not before a merge that came first: undoing that looks at what was decided since.
    at = max([at, *(_merged_at(patient=patient.pk) if patient else ())])
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
    elif patient:  # failed, but a sign of life
        follow_standing({patient.pk}, at=at)
    return decision


@prepared
def _merged_at() -> QuerySet[Merge, datetime]:
    """When the last merge into a patient was."""
    into = Merge.objects.filter(kept=Given("patient", BigIntegerField()))
    return into.order_by("-recorded_at").values_list("recorded_at", flat=True)[:1]


def _hold(submission: Submission) -> IdentityDecision | None:
    """Lock the submission, and return its latest decision.

    Whoever needs the patient's row locks that first, as a merge does: else the two could wait for
    each other.
    """
    Submission.objects.select_for_update().get(pk=submission.pk)
    return submission.decisions.order_by("-number").first()
