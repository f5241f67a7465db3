"""Read what the pages about submissions show: who could it be, and what was decided."""

from dataclasses import dataclass

from django.db.models import QuerySet

from clinic.words import DIFFERS, WHY
from education.identify import consider
from education.models import MATCHED, Assignment, IdentityDecision, Submission
from patients.models import Patient
from patients.rules.identity import Candidate, Verdict
from patients.rules.names import name_tokens

MOST = 20  # patients that a search shows


@dataclass(frozen=True)
class Part:
    """A piece of a name or date; `differs` from what was typed."""

    text: str
    differs: bool


@dataclass(frozen=True)
class Suggested:
    """A patient whose submission it could be, with the evidence for and against in words."""

    patient: Patient
    agree: list[str]
    differ: list[str]
    given_names: list[Part]
    family_names: list[Part]
    birth_date_differs: bool


@dataclass(frozen=True)
class Considered:
    """A submission that waits for a decision: why the rule left it, and the ranked candidates."""

    rule_would_match: bool
    reasons: list[str]
    suggested: list[Suggested]


def with_people(rows: QuerySet[Submission]) -> QuerySet[Submission]:
    """Load whose link a submission came through and what was decided."""
    return rows.select_related(
        "edition", "attempt__invitation__assignment__operation__patient"
    ).prefetch_related("decisions__patient", "decisions__by")


def latest_decision(submission: Submission) -> IdentityDecision | None:
    """Return the last decision, from what `with_people` loaded; an undone one included."""
    decisions = list(submission.decisions.all())
    return decisions[-1] if decisions else None


def weigh(submission: Submission) -> Considered:
    """Ask the identity rule, and put its answer into words."""
    decision = consider(submission)
    people = Patient.objects.in_bulk([c.person_id for c in decision.candidates])
    return Considered(
        rule_would_match=decision.verdict == Verdict.AUTOMATIC,
        reasons=[WHY[reason] for reason in decision.reasons],
        suggested=[_suggested(submission, people[c.person_id], c) for c in decision.candidates],
    )


def search(text: str, *, without: list[int]) -> list[Patient]:
    """Search the register by name or MRN, leaving out who is shown already."""
    rows = Patient.objects.exclude(pk__in=without)
    by_mrn = rows.filter(mrn__istartswith=text.strip())
    words = name_tokens(text)
    if not words:
        return list(by_mrn[:MOST])
    for word in words:
        rows = rows.filter(name_key__contains=word)
    return list((rows | by_mrn).order_by("family_names", "given_names", "id")[:MOST])


def assignments_of(submission: Submission, patient: Patient) -> QuerySet[Assignment]:
    """The patient's open assignments of the module that the submission was about."""
    return Assignment.objects.filter(
        operation__patient=patient, module=submission.edition.module_id, closed=False
    ).select_related("operation__patient", "operation__procedure", "module")


def matched_patient(decision: IdentityDecision | None) -> Patient | None:
    """Return whose it is by the decision, if it is a patient's."""
    return decision.patient if decision and decision.verdict in MATCHED else None


def found(submission: Submission, patient: Patient) -> Suggested:
    """Show a patient found by search as the ranked ones are shown, without the rule's reasons."""
    return _suggested(submission, patient, Candidate(patient.pk, 0, ()))


def _suggested(submission: Submission, patient: Patient, candidate: Candidate) -> Suggested:
    typed = {*name_tokens(submission.given_names), *name_tokens(submission.family_names)}
    return Suggested(
        patient=patient,
        agree=[WHY[reason] for reason in candidate.reasons if reason not in DIFFERS],
        differ=[WHY[reason] for reason in candidate.reasons if reason in DIFFERS],
        given_names=_parts(patient.given_names, typed),
        family_names=_parts(patient.family_names, typed),
        birth_date_differs=patient.birth_date != submission.birth_date,
    )


def _parts(name: str, typed: set[str]) -> list[Part]:
    return [Part(word, not set(name_tokens(word)) <= typed) for word in name.split()]
