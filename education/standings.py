"""Gather the facts of assignments, as they stood on a day, and ask the rule for each standing.

The number of queries does not depend on the number of assignments.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime

from django.db.models import Exists, OuterRef, Q, QuerySet

from education.how_far import HowFar, Owner, how_far
from education.models import (
    Assignment,
    AssignmentChange,
    Clearance,
    Edition,
    Invitation,
    SignOff,
    Waiver,
)
from education.rules.scoring import needs_teach_back
from education.rules.standing import (
    Answer,
    ClearanceFact,
    Evidence,
    Facts,
    Progress,
    Standing,
    standing,
)
from patients import programme
from patients.clock import end_of_day
from patients.models import Programme
from patients.speaks_for import moved_since

Dates = tuple[date | None, date | None, date | None]


@dataclass(frozen=True)
class Told:
    """An assignment with its answer, the facts that it rests on, and its latest invitation."""

    assignment: Assignment
    facts: Facts
    answer: Answer
    invitation: Invitation | None = None


def standings(
    assignments: Iterable[Assignment],
    *,
    on: date,
    settings: Programme | None = None,
    brief: bool = False,
) -> list[Told]:
    """Return what each assignment is today, `on`, in the order given.

    A caller that has read the programme's settings already passes them on. `brief` gives the same
    answers and reads less: no invitations, and of what is cleared not how far the patient came.
    """
    settings = settings or programme.current()
    return _tell(list(assignments), on=on, settings=settings, known_at=None, brief=brief)


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
    assignments: list[Assignment],
    *,
    on: date,
    settings: Programme,
    known_at: datetime | None,
    brief: bool = False,
) -> list[Told]:
    dates = _dates(assignments, known_at)
    assignments = [a for a in assignments if a.pk in dates]
    owners = _owners(assignments, known_at)
    clearances = _clearances(assignments, owners, dates, known_at)
    waived = _accepted(Waiver.objects.filter(assignment__in=assignments), known_at)
    facts = {
        a.pk: Facts(
            *dates[a.pk],
            clearances=tuple(clearances[a.pk]),
            waived=waived.get((a.pk, None)) is True,
            waiver_awaits_second=waived.get((a.pk, None)) is False,
        )
        for a in assignments
    }
    answers = {
        pk: standing(fact, on=on, notice_days=settings.notice_days) for pk, fact in facts.items()
    }
    asked = [a for a in assignments if not brief or answers[a.pk].standing != Standing.CLEARED]
    patients = {owners[a.pk][0] for a in asked}
    far = how_far(asked, patients, known_at=known_at, whole=not brief) if asked else HowFar()
    for a in asked:
        past = far.matched[owners[a.pk]]
        progress = Progress(
            invited=a.pk in far.latest,
            begun=a.pk in far.begun,
            failed=bool(past) and not past[-1].passed,
            needs_teach_back=needs_teach_back(past, attempts_allowed=settings.attempts_allowed),
            undecided=a.pk in far.undecided,
        )
        facts[a.pk] = replace(facts[a.pk], progress=progress)
        answers[a.pk] = standing(facts[a.pk], on=on, notice_days=settings.notice_days)
    latest = {} if brief else far.latest
    return [Told(a, facts[a.pk], answers[a.pk], latest.get(a.pk)) for a in assignments]


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
    assignments: list[Assignment],
    owners: dict[int, Owner],
    dates: dict[int, Dates],
    known_at: datetime | None,
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
    revoked = Q(revocation__isnull=False)
    if known_at is not None:
        revoked &= Q(revocation__recorded_at__lt=known_at)
    by_key: dict[Owner, list[tuple[int, date, str, bool]]] = defaultdict(list)
    for patient, module, pk, cleared_on, evidence, superseded in (
        Clearance.objects.filter(~revoked, patient__in=patients, module__in=modules, **known)
        .annotate(superseded=Exists(superseding))
        .order_by("cleared_on", "id")
        .values_list("patient", "module", "pk", "cleared_on", "evidence", "superseded")
    ):
        by_key[patient, module].append((pk, cleared_on, evidence, superseded))
    # Only what came after the clear-by date can be signed off; mostly nothing did.
    late = [
        a
        for a in assignments
        if any(_is_late(cleared_on, dates[a.pk]) for _, cleared_on, *_ in by_key[owners[a.pk]])
    ]
    signed = _accepted(SignOff.objects.filter(assignment__in=late), known_at) if late else {}
    return {
        a.pk: [
            ClearanceFact(
                cleared_on=cleared_on,
                evidence=Evidence(evidence),
                signed_off=signed.get((a.pk, pk)) is True,
                awaits_second=signed.get((a.pk, pk)) is False,
                counts=not superseded,
                id=pk,
            )
            for pk, cleared_on, evidence, superseded in by_key[owners[a.pk]]
        ]
        for a in assignments
    }


def _is_late(cleared_on: date, dates: Dates) -> bool:
    _, _, clear_by = dates
    return clear_by is not None and cleared_on > clear_by


def _accepted(
    rows: QuerySet[SignOff] | QuerySet[Waiver], known_at: datetime | None
) -> dict[tuple[int, int | None], bool]:
    """Return what clinicians accepted, by assignment and clearance (None: the whole assignment).

    True: it counts. False: it waits for the second clinician. What was taken back or declined is
    not there. Read with what was known at the instant: an agreement counts from its own day on.
    """
    found: dict[tuple[int, int | None], bool] = {}
    known = Q() if known_at is None else Q(recorded_at__lt=known_at)
    of_clearance = "clearance" if rows.model is SignOff else "assignment"
    for assignment, of, needs_second, agrees, said_at, revoked_at in rows.filter(known).values_list(
        "assignment",
        of_clearance,
        "needs_second",
        "second__agrees",
        "second__recorded_at",
        "revocation__recorded_at",
    ):
        said = agrees if _is_known(said_at, known_at) else None
        if said is False or _is_known(revoked_at, known_at):
            continue
        key = (assignment, of if rows.model is SignOff else None)
        found[key] = found.get(key, False) or said is True or not needs_second
    return found


def _is_known(at: datetime | None, known_at: datetime | None) -> bool:
    return at is not None and (known_at is None or at < known_at)
