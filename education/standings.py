"""Gather the facts of assignments, as they stood on a day, and ask the rule for each standing.

The number of queries does not depend on the number of assignments.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery

from education.models import (
    MATCHED,
    Assignment,
    AssignmentChange,
    Attempt,
    Clearance,
    Edition,
    EndedBecause,
    IdentityDecision,
    IdentityVerdict,
    Invitation,
    InvitationEnd,
    InvitationToken,
    SecondOpinion,
    SignOff,
    SignOffRevocation,
    Submission,
    Waiver,
    WaiverRevocation,
)
from education.rules.scoring import PastAttempt, needs_teach_back
from education.rules.standing import Answer, ClearanceFact, Evidence, Facts, Progress, standing
from patients import programme
from patients.clock import end_of_day
from patients.models import Patient, Programme
from patients.speaks_for import moved_since, spoken_for

Owner = tuple[int, int]  # patient id, module id
Dates = tuple[date | None, date | None, date | None]


@dataclass(frozen=True)
class Told:
    """An assignment with its answer, the facts that it rests on, and its latest invitation."""

    assignment: Assignment
    facts: Facts
    answer: Answer
    invitation: Invitation | None = None


def standings(
    assignments: Iterable[Assignment], *, on: date, settings: Programme | None = None
) -> list[Told]:
    """Return what each assignment is today, `on`, in the order given.

    A caller that has read the programme's settings already passes them on.
    """
    settings = settings or programme.current()
    return _tell(list(assignments), on=on, settings=settings, known_at=None)


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
    dates = _dates(assignments, known_at)
    assignments = [a for a in assignments if a.pk in dates]
    owners = _owners(assignments, known_at)
    clearances = _clearances(assignments, owners, known_at)
    waived = _accepted(Waiver.objects.filter(assignment__in=assignments), known_at)
    latest, begun = _invitations(assignments, known_at)
    matched, undecided = _submissions(assignments, owners, known_at)
    told = []
    for a in assignments:
        past = matched[owners[a.pk]]
        progress = Progress(
            invited=a.pk in latest,
            begun=a.pk in begun,
            failed=bool(past) and not past[-1].passed,
            needs_teach_back=needs_teach_back(past, attempts_allowed=settings.attempts_allowed),
            undecided=a.pk in undecided,
        )
        facts = Facts(
            *dates[a.pk],
            clearances=tuple(clearances[a.pk]),
            waived=waived.get((a.pk, None)) is True,
            waiver_awaits_second=waived.get((a.pk, None)) is False,
            progress=progress,
        )
        answer = standing(facts, on=on, notice_days=settings.notice_days)
        told.append(Told(a, facts, answer, latest.get(a.pk)))
    return told


def _dates(assignments: list[Assignment], known_at: datetime | None) -> dict[int, Dates]:
    if known_at is None:
        return {a.pk: (a.operation.or_date, a.opens_on, a.clear_by) for a in assignments}
    changes = AssignmentChange.objects.filter(
        assignment__in=assignments, recorded_at__lt=known_at
    ).order_by("recorded_at", "id")
    return {c.assignment_id: (c.or_date, c.opens_on, c.clear_by) for c in changes}


def _owners(assignments: list[Assignment], known_at: datetime | None) -> dict[int, Owner]:
    """Return whose each assignment is, or was: a merge moves operations, and may be undone."""
    elsewhere: dict[int, int] = {}
    if known_at is not None:
        elsewhere = moved_since({a.operation_id for a in assignments}, known_at=known_at)
    return {
        a.pk: (elsewhere.get(a.operation_id, a.operation.patient_id), a.module_id)
        for a in assignments
    }


def _known(field: str, known_at: datetime | None) -> dict[str, datetime]:
    return {} if known_at is None else {f"{field}recorded_at__lt": known_at}


def _clearances(
    assignments: list[Assignment], owners: dict[int, Owner], known_at: datetime | None
) -> dict[int, list[ClearanceFact]]:
    """Unrevoked clearances of each assignment's patient and module, earliest first.

    Those of a record that was merged into the patient's are on the patient's too (carry.py).
    """
    known = _known("", known_at)
    patients = {patient for patient, _ in owners.values()}
    modules = {a.module_id for a in assignments}
    superseding = Edition.objects.filter(
        module=OuterRef("module"),
        number__gt=OuterRef("edition__number"),
        earlier_clearances_count=False,
        **known,
    )
    signed = _accepted(SignOff.objects.filter(assignment__in=assignments), known_at)
    by_key: dict[Owner, list[Clearance]] = defaultdict(list)
    for row in (
        Clearance.objects.filter(patient__in=patients, module__in=modules, **known)
        .select_related("revocation")
        .annotate(superseded=Exists(superseding))
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
                signed_off=signed.get((a.pk, c.pk)) is True,
                awaits_second=signed.get((a.pk, c.pk)) is False,
                counts=not c.superseded,  # type: ignore[attr-defined]
                id=c.pk,
            )
            for c in by_key[owners[a.pk]]
        ]
        for a in assignments
    }


def _accepted(
    rows: QuerySet[SignOff] | QuerySet[Waiver], known_at: datetime | None
) -> dict[tuple[int, int | None], bool]:
    """Return what clinicians accepted, by assignment and clearance (None: the whole assignment).

    True: it counts. False: it waits for the second clinician. What was taken back or declined is
    not there. Read with what was known at the instant: an agreement counts from its own day on.
    """
    found: dict[tuple[int, int | None], bool] = {}
    known = Q() if known_at is None else Q(recorded_at__lt=known_at)
    for row in rows.filter(known).select_related("revocation", "second"):
        revocation, second = getattr(row, "revocation", None), getattr(row, "second", None)
        if _is_known(revocation, known_at):
            continue
        said = second.agrees if second and _is_known(second, known_at) else None
        if said is False:
            continue
        key = (row.assignment_id, getattr(row, "clearance_id", None))
        found[key] = found.get(key, False) or said is True or not row.needs_second
    return found


def _is_known(
    row: SignOffRevocation | WaiverRevocation | SecondOpinion | None, known_at: datetime | None
) -> bool:
    return row is not None and (known_at is None or row.recorded_at < known_at)


def _invitations(
    assignments: list[Assignment], known_at: datetime | None
) -> tuple[dict[int, Invitation], set[int]]:
    """Return the latest invitation of each assignment, and the assignments with a quiz begun.

    Invitations up to one through which the quiz was passed have done their work and count no
    more, and those taken back before their email went out never counted; begun is a quiz with no
    submission yet.
    """
    known = _known("", known_at)
    handed_in = Submission.objects.filter(attempt=OuterRef("pk"), **known)
    passed = Submission.objects.filter(attempt__invitation=OuterRef("pk"), passed=True, **known)
    mailed = InvitationToken.objects.filter(invitation=OuterRef("invitation"), **known)
    taken_back = InvitationEnd.objects.filter(
        ~Exists(mailed),
        invitation=OuterRef("pk"),
        because=EndedBecause.WITHDRAWN,
        **known,
    )
    running = Attempt.objects.filter(~Exists(handed_in), invitation=OuterRef("pk"), **known)
    rows = (
        Invitation.objects.filter(~Exists(taken_back), assignment__in=assignments, **known)
        .select_related("message", "end")
        .annotate(begun=Exists(running), passed=Exists(passed))
        .order_by("recorded_at", "id")
    )
    latest: dict[int, Invitation] = {}
    begun = set()
    for row in rows:
        if row.passed:
            latest.pop(row.assignment_id, None)
            begun.discard(row.assignment_id)
            continue
        latest[row.assignment_id] = row
        if row.begun:
            begun.add(row.assignment_id)
    return latest, begun


def _submissions(
    assignments: list[Assignment], owners: dict[int, Owner], known_at: datetime | None
) -> tuple[dict[Owner, list[PastAttempt]], set[int]]:
    """Return the quizzes of each patient, oldest first, and the assignments with undecided ones.

    Quizzes of records for which a patient speaks are the patient's. A submission that nobody has
    decided about belongs to the assignment whose link it came by.
    """
    known = _known("", known_at)
    patients = {patient for patient, _ in owners.values()}
    if known_at is None:
        speaks: dict[int, int] = {}
        # As a query of its own: joined, the databases look at every decision there is.
        records = Patient.objects.filter(Q(pk__in=patients) | Q(merged_into__in=patients))
        theirs = Q(patient__in=records.values("pk"))
    else:
        speaks = spoken_for(patients, known_at=known_at)
        theirs = Q(patient__in=list(speaks))
    ever_matched = IdentityDecision.objects.filter(theirs, submission=OuterRef("pk"))
    decisions = IdentityDecision.objects.filter(submission=OuterRef("pk"), **known)
    latest = decisions.order_by("-number")
    rows = (
        Submission.objects.filter(edition__module__in={a.module_id for a in assignments}, **known)
        .filter(Q(attempt__invitation__assignment__in=assignments) | Q(Exists(ever_matched)))
        .annotate(
            verdict=Subquery(latest.values("verdict")[:1]),
            record=Subquery(latest.values("patient")[:1]),
            speaker=Subquery(latest.values("patient__merged_into")[:1]),
        )
        .select_related("edition", "attempt__invitation")
        .order_by("recorded_at", "id")
    )
    matched: dict[Owner, list[PastAttempt]] = defaultdict(list)
    undecided = set()
    for row in rows:
        verdict: str | None = row.verdict  # type: ignore[attr-defined]
        record: int = row.record  # type: ignore[attr-defined]
        speaker: int | None = row.speaker  # type: ignore[attr-defined]
        if verdict is None or verdict == IdentityVerdict.UNDONE:
            undecided.add(row.attempt.invitation.assignment_id)
        elif verdict in MATCHED:
            attempt = PastAttempt(row.passed, frozenset(row.unsafe))
            owner = speaker or record if known_at is None else speaks.get(record, record)
            matched[owner, row.edition.module_id].append(attempt)
    return matched, undecided
