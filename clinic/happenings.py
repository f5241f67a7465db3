"""Read what happened to a patient's modules and contacts, as marks on the operations' timelines."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from datetime import datetime
from zoneinfo import ZoneInfo

from clinic.timeline import Happening, Kind
from education.models import MATCHED, Attempt, Invitation, Submission
from education.rules.standing import Evidence
from education.standings import Told
from patients.clock import local_date
from patients.models import Contact, Means, Outcome

EVIDENCE = {Evidence.QUIZ: "quiz passed", Evidence.TEACH_BACK: "teach-back seen"}


def of_modules(
    told: Iterable[Told], records: Collection[int], *, known_at: datetime | None, zone: ZoneInfo
) -> dict[int, list[Happening]]:
    """Return the links, quizzes and clearances of assignments, by the assignment's id.

    `records`: for whom the patient speaks. Of a quiz that is not decided to be the patient's only
    that it came in is told.
    """
    found: dict[int, list[Happening]] = defaultdict(list)
    listed = list(told)
    ids = [one.assignment.pk for one in listed]
    known = {} if known_at is None else {"recorded_at__lt": known_at}
    for row in Invitation.objects.filter(assignment__in=ids, **known):
        day = local_date(row.recorded_at, zone)
        found[row.assignment_id].append(Happening(day, Kind.INVITED, "link sent"))
    attempts = Attempt.objects.filter(invitation__assignment__in=ids, **known)
    for attempt in attempts.select_related("invitation", "submission").prefetch_related(
        "submission__decisions"
    ):
        mark = _quiz(attempt, records, known_at=known_at, zone=zone)
        found[attempt.invitation.assignment_id].append(mark)
    for one in listed:
        for fact in one.facts.clearances:
            words = f"cleared, {EVIDENCE[fact.evidence]}"
            found[one.assignment.pk].append(Happening(fact.cleared_on, Kind.CLEARED, words))
    return found


def _quiz(
    attempt: Attempt, records: Collection[int], *, known_at: datetime | None, zone: ZoneInfo
) -> Happening:
    handed_in: Submission | None = getattr(attempt, "submission", None)
    if handed_in is None or (known_at and handed_in.recorded_at >= known_at):
        return Happening(local_date(attempt.recorded_at, zone), Kind.BEGUN, "quiz begun")
    day = local_date(handed_in.recorded_at, zone)
    decisions = [
        one for one in handed_in.decisions.all() if known_at is None or one.recorded_at < known_at
    ]
    latest = decisions[-1] if decisions else None
    if latest is None or latest.verdict not in MATCHED:
        return Happening(day, Kind.UNDECIDED, "quiz handed in, not decided to be this patient’s")
    if latest.patient_id not in records:
        return Happening(day, Kind.UNDECIDED, "quiz handed in, decided to be another patient’s")
    if handed_in.passed:
        return Happening(day, Kind.PASSED, "quiz passed")
    return Happening(day, Kind.FAILED, "quiz failed")


def contacts_of(
    records: Collection[int], *, known_at: datetime | None, zone: ZoneInfo
) -> list[Happening]:
    """Return the attempts to reach the patient."""
    rows = Contact.objects.filter(patient__in=records)
    if known_at is not None:
        rows = rows.filter(recorded_at__lt=known_at)
    return [
        Happening(
            local_date(row.recorded_at, zone),
            Kind.CONTACT,
            f"{Means(row.means).label.lower()}, {Outcome(row.outcome).label.lower()}",
        )
        for row in rows
    ]
