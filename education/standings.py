"""Gather the facts of assignments, as they stood on a day, and ask the rule for each standing.

The number of queries does not depend on the number of assignments.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q

from education.models import (
    MATCHED,
    Assignment,
    AssignmentChange,
    Attempt,
    Clearance,
    Edition,
    IdentityDecision,
    IdentityVerdict,
    Invitation,
    SignOff,
    Submission,
    Waiver,
)
from education.rules.scoring import PastAttempt, needs_teach_back
from education.rules.standing import Answer, ClearanceFact, Evidence, Facts, Progress, standing
from patients import programme
from patients.clock import end_of_day
from patients.models import Programme


@dataclass(frozen=True)
class Told:
    """An assignment with its answer and the facts that it rests on."""

    assignment: Assignment
    facts: Facts
    answer: Answer


def standings(assignments: Iterable[Assignment], *, on: date) -> list[Told]:
    """Return what each assignment is today, `on`, in the order given."""
    return _tell(list(assignments), on=on, settings=programme.current(), known_at=None)


def standings_as_of(assignments: Iterable[Assignment], *, on: date) -> list[Told]:
    """Return what each assignment was at the end of a past day, from the records of that day.

    Assignments that did not exist on that day are left out.
    """
    known_at = end_of_day(on, programme.current().zone)
    settings = programme.current(known_at=known_at)
    return _tell(list(assignments), on=on, settings=settings, known_at=known_at)


def standing_of(assignment: Assignment, *, on: date) -> Told:
    """Return what one assignment is today, `on`."""
    return standings([assignment], on=on)[0]


def _tell(
    assignments: list[Assignment], *, on: date, settings: Programme, known_at: datetime | None
) -> list[Told]:
    facts = _facts(assignments, settings=settings, known_at=known_at)
    return [
        Told(a, facts[a.pk], standing(facts[a.pk], on=on, notice_days=settings.notice_days))
        for a in assignments
        if a.pk in facts
    ]


def _facts(
    assignments: list[Assignment], *, settings: Programme, known_at: datetime | None
) -> dict[int, Facts]:
    """Return the facts by assignment id; `known_at` leaves out what was recorded later."""
    dates = _dates(assignments, known_at)
    clearances = _clearances(assignments, known_at)
    waived = _waived(assignments, known_at)
    progress = _progress(assignments, settings=settings, known_at=known_at)
    return {
        a.pk: Facts(
            *dates[a.pk],
            clearances=tuple(clearances[a.pk]),
            waived=a.pk in waived,
            progress=progress[a.pk],
        )
        for a in assignments
        if a.pk in dates
    }


Dates = tuple[date | None, date | None, date | None]


def _dates(assignments: list[Assignment], known_at: datetime | None) -> dict[int, Dates]:
    if known_at is None:
        return {a.pk: (a.operation.or_date, a.opens_on, a.clear_by) for a in assignments}
    changes = AssignmentChange.objects.filter(
        assignment__in=assignments, recorded_at__lt=known_at
    ).order_by("recorded_at", "id")
    return {c.assignment_id: (c.or_date, c.opens_on, c.clear_by) for c in changes}


def _known(field: str, known_at: datetime | None) -> dict[str, datetime]:
    return {} if known_at is None else {f"{field}recorded_at__lt": known_at}


def _clearances(
    assignments: list[Assignment], known_at: datetime | None
) -> dict[int, list[ClearanceFact]]:
    """Unrevoked clearances of each assignment's patient and module, earliest first."""
    known = _known("", known_at)
    patients = {a.operation.patient_id for a in assignments}
    modules = {a.module_id for a in assignments}
    not_counting_before = {
        e.module_id: e.number
        for e in Edition.objects.filter(
            module__in=modules, earlier_clearances_count=False, **known
        ).order_by("number")
    }
    signed = set(
        SignOff.objects.filter(assignment__in=assignments, **known).values_list(
            "assignment", "clearance"
        )
    )
    by_key: dict[tuple[int, int], list[Clearance]] = defaultdict(list)
    for row in (
        Clearance.objects.filter(patient__in=patients, module__in=modules, **known)
        .select_related("edition", "revocation")
        .order_by("cleared_on", "id")
    ):
        revocation = getattr(row, "revocation", None)
        if revocation and (known_at is None or revocation.recorded_at < known_at):
            continue
        by_key[row.patient_id, row.module_id].append(row)
    return {
        a.pk: [
            ClearanceFact(
                cleared_on=c.cleared_on,
                evidence=Evidence(c.evidence),
                signed_off=(a.pk, c.pk) in signed,
                counts=c.edition.number >= not_counting_before.get(a.module_id, 0),
                id=c.pk,
            )
            for c in by_key[a.operation.patient_id, a.module_id]
        ]
        for a in assignments
    }


def _waived(assignments: list[Assignment], known_at: datetime | None) -> set[int]:
    waivers = Waiver.objects.filter(
        assignment__in=assignments, **_known("", known_at)
    ).select_related("revocation")
    return {
        w.assignment_id
        for w in waivers
        if not hasattr(w, "revocation")
        or (known_at is not None and w.revocation.recorded_at >= known_at)
    }


def _progress(
    assignments: list[Assignment], *, settings: Programme, known_at: datetime | None
) -> dict[int, Progress]:
    """How far each patient came: by links of the assignment, and by quizzes matched to them."""
    ids = [a.pk for a in assignments]
    invited = set(
        Invitation.objects.filter(assignment__in=ids, **_known("", known_at)).values_list(
            "assignment", flat=True
        )
    )
    begun = set(
        Attempt.objects.filter(
            invitation__assignment__in=ids, **_known("", known_at)
        ).values_list("invitation__assignment", flat=True)
    )
    matched, undecided = _submissions(assignments, known_at)
    progress = {}
    for a in assignments:
        past = [
            PastAttempt(
                s.passed,
                frozenset(
                    answer.question.key
                    for answer in s.answers.all()
                    if answer.question.safety_critical and not answer.right
                ),
            )
            for s in matched[a.operation.patient_id, a.module_id]
        ]
        progress[a.pk] = Progress(
            invited=a.pk in invited,
            begun=a.pk in begun,
            failed=bool(past) and not past[-1].passed,
            needs_teach_back=needs_teach_back(past, attempts_allowed=settings.attempts_allowed),
            undecided=a.pk in undecided,
        )
    return progress


def _submissions(
    assignments: list[Assignment], known_at: datetime | None
) -> tuple[dict[tuple[int, int], list[Submission]], set[int]]:
    """Return submissions by (patient, module), oldest first, and assignments with undecided ones.

    A submission that nobody has decided about belongs to the assignment whose link it came by.
    """
    decided: dict[int, IdentityDecision] = {}
    patients = {a.operation.patient_id for a in assignments}
    modules = {a.module_id for a in assignments}
    candidates = (
        Submission.objects.filter(edition__module__in=modules, **_known("", known_at))
        .filter(
            # came by one of these links, or was ever matched to one of these patients
            _came_by(assignments) | _matched_to(patients)
        )
        .select_related("edition", "attempt__invitation")
        .prefetch_related("answers__question")
        .order_by("recorded_at", "id")
        .distinct()
    )
    submissions = list(candidates)
    for row in IdentityDecision.objects.filter(
        submission__in=submissions, **_known("", known_at)
    ).order_by("number"):
        decided[row.submission_id] = row
    matched: dict[tuple[int, int], list[Submission]] = defaultdict(list)
    undecided = set()
    for s in submissions:
        decision = decided.get(s.pk)
        if decision is None or decision.verdict == IdentityVerdict.UNDONE:
            undecided.add(s.attempt.invitation.assignment_id)
        elif decision.verdict in MATCHED and decision.patient_id is not None:
            matched[decision.patient_id, s.edition.module_id].append(s)
    return matched, undecided


def _came_by(assignments: list[Assignment]) -> Q:
    return Q(attempt__invitation__assignment__in=[a.pk for a in assignments])


def _matched_to(patients: set[int]) -> Q:
    return Q(decisions__patient__in=patients)
