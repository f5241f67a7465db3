"""Read what happened to a patient's modules and contacts, as marks on the operations' timelines."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from datetime import datetime
from zoneinfo import ZoneInfo

from django.db.models import F

from clinic.timeline import Happening, Kind
from clinic.way_words import GIVEN
from education.models import MATCHED, Attempt, Invitation, SignOff, Submission, Waiver
from education.rules.quiz_way import Way
from education.rules.standing import Evidence
from education.standings import Told
from patients.clock import local_date
from patients.models import Contact, Means, Outcome

HANDED_OVER = (Way.LINK, Way.PAPER)  # what the patient takes along
EVIDENCE = {Evidence.QUIZ: "quiz passed", Evidence.TEACH_BACK: "teach-back seen"}


def of_modules(
    told: Iterable[Told], records: Collection[int], *, known_at: datetime | None, zone: ZoneInfo
) -> dict[int, list[Happening]]:
    """Return links, quizzes, clearances, sign-offs and waivers, by the assignment's id.

    `records`: for whom the patient speaks. Of a quiz that is not decided to be the patient's only
    that it came in is told.
    """
    found: dict[int, list[Happening]] = defaultdict(list)
    listed = list(told)
    ids = [one.assignment.pk for one in listed]
    known = {} if known_at is None else {"recorded_at__lt": known_at}
    # A code for a screen says nothing yet, and a call is a quiz begun.
    for row in Invitation.objects.filter(assignment__in=ids, way__in=HANDED_OVER, **known):
        day = local_date(row.recorded_at, zone)
        found[row.assignment_id].append(Happening(day, Kind.INVITED, GIVEN[Way(row.way)]))
    attempts = Attempt.objects.filter(invitation__assignment__in=ids, **known)
    for attempt in attempts.select_related("invitation", "submission").prefetch_related(
        "submission__decisions"
    ):
        mark = _quiz(attempt, records, known_at=known_at, zone=zone)
        if mark.kind != Kind.BEGUN or attempt.invitation.way != Way.PAPER:
            found[attempt.invitation.assignment_id].append(mark)
    for one in listed:
        for fact in one.facts.clearances:
            words = f"cleared, {EVIDENCE[fact.evidence]}"
            found[one.assignment.pk].append(Happening(fact.cleared_on, Kind.CLEARED, words))
    for pk, at, kind, words in _accepted(ids):
        if known_at is None or at < known_at:
            found[pk].append(Happening(local_date(at, zone), kind, words))
    return found


def _accepted(ids: list[int]) -> Iterator[tuple[int, datetime, Kind, str]]:
    """Yield what clinicians accepted and took back: assignment, instant, mark, and words."""
    ends = ("by", "second__by", "revocation__by")
    # What a merge carried along with a clearance was signed off once, before.
    sign_offs = SignOff.objects.filter(assignment__in=ids).exclude(
        clearance__merge__isnull=False, recorded_at=F("clearance__recorded_at")
    )
    for sign_off in sign_offs.select_related(*ends):
        yield from _course_of(sign_off, Kind.SIGNED_OFF, "signed off", "sign-off")
    for waiver in Waiver.objects.filter(assignment__in=ids).select_related(*ends):
        yield from _course_of(waiver, Kind.WAIVED, "waived", "waiver")


def _course_of(
    row: SignOff | Waiver, kind: Kind, done: str, name: str
) -> Iterator[tuple[int, datetime, Kind, str]]:
    pk = row.assignment_id
    waits = ", a second clinician has to agree" if row.needs_second else ""
    yield pk, row.recorded_at, kind, f"{done} by {row.by}{waits}"
    if hasattr(row, "second"):
        said, mark = ("agreed to", kind) if row.second.agrees else ("declined", Kind.TAKEN_BACK)
        yield pk, row.second.recorded_at, mark, f"{name} {said} by {row.second.by}"
    if hasattr(row, "revocation"):
        words = f"{name} taken back by {row.revocation.by}"
        yield pk, row.revocation.recorded_at, Kind.TAKEN_BACK, words


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
    if known_at is None:
        rows = Contact.objects.standing().filter(patient__in=records)
    else:
        rows = Contact.objects.filter(patient__in=records, recorded_at__lt=known_at).exclude(
            correction__recorded_at__lt=known_at
        )
    return [
        Happening(
            local_date(row.at, zone),
            Kind.CONTACT,
            f"{Means(row.means).label.lower()}, {Outcome(row.outcome).label.lower()}",
        )
        for row in rows
    ]
