"""Read what the pages about submissions show: which wait, what was decided, what was found out."""

from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q, QuerySet

from clinic.day_words import day
from clinic.words import DIFFERS, IDENTITY, STANDING
from education.carry import with_carried
from education.identify import beside
from education.models import (
    MATCHED,
    Assignment,
    Clearance,
    IdentityDecision,
    IdentityVerdict,
    Submission,
)
from education.rules.standing import Standing
from education.standings import Told
from patients.models import Merge, MergeUndone, OtherName, OtherNameEnd, Patient, PatientChange

ROWS = 10  # undecided submissions on a page


@dataclass(frozen=True)
class Queue:
    """One page of the undecided, the oldest first.

    `waiting` counts all of them, `older` those before this page. `earlier` and `later` are the
    submissions with which the pages before and after begin.
    """

    waiting: int
    older: int
    rows: list[Submission]
    earlier: int | None
    later: int | None


def with_people(rows: QuerySet[Submission]) -> QuerySet[Submission]:
    """Load whose link a submission came through, what was decided, and what was found out."""
    return rows.select_related(
        "edition", "by", "attempt__invitation__assignment__operation__patient"
    ).prefetch_related("decisions__patient", "decisions__by", "notes__by")


def queue(*, begin: int | None = None) -> Queue:
    """Return the page that begins with a submission, decided or not; the first one otherwise."""
    undecided = Submission.objects.undecided().order_by("recorded_at", "id")
    first = Submission.objects.filter(pk=begin).first() if begin else None
    older = undecided.exclude(_from(first)) if first else undecided.none()
    shown = undecided.filter(_from(first)) if first else undecided
    rows = list(with_people(shown)[: ROWS + 1])
    before = list(older.reverse().values_list("pk", flat=True)[:ROWS])
    return Queue(
        waiting=undecided.count(),
        older=older.count(),
        rows=rows[:ROWS],
        earlier=before[-1] if before else None,
        later=rows[ROWS].pk if len(rows) > ROWS else None,
    )


def decisions_in_force() -> QuerySet[IdentityDecision]:
    """Return the decisions in force with their submissions, the latest first."""
    rows = IdentityDecision.objects.in_force().order_by("-id")
    return rows.select_related("submission__edition", "patient__merged_into", "by")


def next_after(submission: Submission) -> int | None:
    """Return the undecided one to look at next: the following one, else the oldest."""
    others = Submission.objects.undecided().exclude(pk=submission.pk)
    ordered = others.order_by("recorded_at", "id").values_list("pk", flat=True)
    return ordered.filter(_from(submission)).first() or ordered.first()


def _from(submission: Submission) -> Q:
    at = submission.recorded_at
    return Q(recorded_at__gt=at) | Q(recorded_at=at, pk__gte=submission.pk)


def through(assignment_id: int) -> int | None:
    """Return the submission that an assignment's row means: the oldest undecided, else the last."""
    rows = Submission.objects.filter(attempt__invitation__assignment=assignment_id)
    undecided = rows.undecided().order_by("recorded_at", "id")
    latest = rows.order_by("-recorded_at", "-id")
    found: int | None = (
        undecided.values_list("pk", flat=True).first()
        or latest.values_list("pk", flat=True).first()
    )
    return found


def latest_decision(submission: Submission) -> IdentityDecision | None:
    """Return the last decision, from what `with_people` loaded; an undone one included."""
    decisions = list(submission.decisions.all())
    return decisions[-1] if decisions else None


def in_force(submission: Submission) -> IdentityDecision | None:
    """Return the decision in force, from what `with_people` loaded."""
    latest = latest_decision(submission)
    return latest if latest and latest.verdict != IdentityVerdict.UNDONE else None


def decision_words(decision: IdentityDecision) -> str:
    """Return a decision in words; one that the register brought about later says so."""
    words = IDENTITY[IdentityVerdict(decision.verdict)]
    by_itself = decision.verdict == IdentityVerdict.MATCHED_AUTOMATICALLY
    if by_itself and decision.recorded_at > decision.submission.recorded_at:
        return f"{words}, after the register changed"
    return words


def matched_patient(decision: IdentityDecision | None) -> Patient | None:
    """Return whose it is by the decision, if it is a patient's: who speaks for the record now."""
    if decision is None or decision.verdict not in MATCHED:
        return None
    return decision.patient and (decision.patient.merged_into or decision.patient)


def clearances_by(decision: IdentityDecision | None) -> list[Clearance]:
    """Return the clearance that rests on a decision, and where merges carried it."""
    if decision is None:
        return []
    return with_carried(Clearance.objects.filter(decision=decision).select_related("revocation"))


def typed_name(submission: Submission) -> str:
    """Return the name as it was typed on the quiz."""
    return f"{submission.given_names} {submission.family_names}".strip()


def followed_words(at: datetime) -> str:
    """Return what a change of the register at this instant made of quizzes, as a sentence behind
    another; empty if it made nothing of them.
    """
    rows = IdentityDecision.objects.filter(recorded_at=at).select_related("submission", "patient")
    said = []
    for row in rows.order_by("id"):
        typed = typed_name(row.submission)
        if row.verdict == IdentityVerdict.UNDONE:
            said.append(f"The decision about the quiz typed as {typed} is undone.")
        elif row.verdict == IdentityVerdict.MATCHED_AUTOMATICALLY and row.patient:
            passed = "passed" if row.submission.passed else "failed"
            whose = f"{row.patient.full_name}, MRN {row.patient.mrn}"
            said.append(
                f"By it a quiz that waited is matched with {whose}: typed as {typed}, {passed}."
            )
    return "".join(f" {sentence}" for sentence in said)


def disagreeing_words(patient: Patient) -> str:
    """Return which matched quizzes agree with the record less than when they were matched."""
    said = []
    matched = IdentityDecision.objects.in_force(patient=patient, verdict__in=MATCHED)
    for row in matched.select_related("submission__attempt__invitation__assignment__operation"):
        if set(beside(row.submission, patient)) & DIFFERS - set(row.reasons):
            said.append(f"typed as {typed_name(row.submission)}")
    if not said:
        return ""
    typed = "; ".join(dict.fromkeys(said))
    if len(said) == 1:
        return (
            f" A quiz that was matched before does not agree with the record any more, {typed}: "
            "look whether it is the patient’s. It stands in the history."
        )
    return (
        f" {len(said)} quizzes that were matched before do not agree with the record any more, "
        f"{typed}: look whether they are the patient’s. They stand in the history."
    )


def last_compared(submission: Submission, register_changed: datetime | None) -> datetime:
    """Return when it was last held against the register: when it came, or when that changed."""
    return max(submission.recorded_at, register_changed or submission.recorded_at)


def register_changed_at() -> datetime | None:
    """Return when the register last changed in a way that makes submissions be asked again."""
    latest = [
        rows.order_by("-pk").values_list("recorded_at", flat=True).first()
        for rows in (
            PatientChange.objects.all(),
            OtherName.objects.all(),
            OtherNameEnd.objects.all(),
            Merge.objects.all(),
            MergeUndone.objects.all(),
        )
    ]
    return max((at for at in latest if at), default=None)


def passed_words(cleared_on: date, told: list[Told]) -> str:
    """Return what came of a passed quiz for each OR date, as a sentence: it may clear none."""
    passed = f"Passed on {day(cleared_on)}"
    if not told:
        return f"{passed}. No open operation of this patient asks for the module."
    wanting = [t.answer.standing for t in told if t.answer.standing != Standing.CLEARED]
    if wanting and len(told) == 1:
        return f"{passed}, and not cleared by it: {STANDING[wanting[0]]}."
    if wanting:
        return f"{passed}. {'; '.join(map(_of_its_or_date, told))}."
    if all(t.answer.cleared_on != cleared_on for t in told):
        return f"{passed}; it was cleared already."
    return f"{passed}: cleared by it."


def _of_its_or_date(told: Told) -> str:
    or_date = told.assignment.operation.or_date
    return (
        f"OR date {day(or_date) if or_date else 'not known yet'}: {STANDING[told.answer.standing]}"
    )


def assignments_of(submission: Submission, patient: Patient) -> QuerySet[Assignment]:
    """The patient's open assignments of the module that the submission was about."""
    return Assignment.objects.filter(
        operation__patient=patient, module=submission.edition.module_id, closed=False
    ).select_related("operation__patient", "operation__procedure", "module")
