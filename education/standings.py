"""Gather the facts of assignments, as they stood on a day, and ask the rule for each standing.

The number of queries does not depend on the number of assignments.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from education.facts import (
    ClearanceRow,
    OnRecord,
    Owner,
    SettingsRow,
    TeachBackRow,
    instant,
    on_record,
)
from education.models import Assignment, AssignmentChange, Invitation
from education.rules.scoring import needs_teach_back
from education.rules.standing import (
    Answer,
    ClearanceFact,
    Evidence,
    Facts,
    Progress,
    standing,
)
from education.rules.teach_back import TeachBackOutcome
from patients import programme
from patients.clock import end_of_day, local_date
from patients.models import Programme
from patients.prepared import GivenIds, prepared
from patients.speaks_for import moved_since, spoken_for

Dates = tuple[date | None, date | None, date | None]


@dataclass(frozen=True)
class Told:
    """An assignment with its answer, the facts that it rests on, and its latest link.

    `sheet_at`: when the latest sheet of paper was printed that did not come back. `used`: the quiz
    was passed through an earlier invitation, whoever it turned out to be.
    """

    assignment: Assignment
    facts: Facts
    answer: Answer
    invitation: Invitation | None = None
    sheet_at: datetime | None = None
    used: bool = False

    @property
    def invited_before(self) -> bool:
        """Whether another invitation would not be the first."""
        return self.used or bool(self.facts.clearances)


def standings(assignments: Iterable[Assignment], *, on: date) -> list[Told]:
    """Return what each assignment is today, `on`, in the order given."""
    asked = list(assignments)
    owners = _owners(asked)
    found = on_record(owners)
    return _with_invitations(_told_today(asked, owners, found, on=on), found)


def standings_at(assignments: Iterable[Assignment], *, at: datetime) -> tuple[date, list[Told]]:
    """Return the programme's day at the present instant, and the standings on it.

    Without the invitations, and so in one query.
    """
    asked = list(assignments)
    owners = _owners(asked)
    found = on_record(owners)
    on = local_date(at, ZoneInfo(_settings(found).time_zone))
    return on, _told_today(asked, owners, found, on=on)


def standings_as_of(assignments: Iterable[Assignment], *, on: date) -> list[Told]:
    """Return what each assignment was at the end of a past day, from the records of that day.

    Assignments that did not exist on that day are left out.
    """
    known_at = end_of_day(on, programme.current().zone)
    listed = list(assignments)
    changes = AssignmentChange.objects.filter(assignment__in=listed, recorded_at__lt=known_at)
    dates = {
        c.assignment_id: (c.or_date, c.opens_on, c.clear_by)
        for c in changes.order_by("recorded_at", "id")
    }
    asked = [a for a in listed if a.pk in dates]
    # Whose each was: a merge moves operations, and may be undone.
    moved = moved_since({a.operation_id for a in asked}, known_at=known_at)
    owners = {a.pk: (moved.get(a.operation_id, a.operation.patient_id), a.module_id) for a in asked}
    speaks = spoken_for({patient for patient, _ in owners.values()}, known_at=known_at)
    found = on_record(owners, known_at=known_at, speaks=speaks)
    settings = found.settings or programme.current(known_at=known_at)  # the first, before any
    return _with_invitations(_tell(asked, dates, owners, found, on=on, settings=settings), found)


def _owners(assignments: list[Assignment]) -> dict[int, Owner]:
    return {a.pk: (a.operation.patient_id, a.module_id) for a in assignments}


def _settings(found: OnRecord) -> SettingsRow:
    if found.settings is None:
        raise programme.NotFounded
    return found.settings


def _told_today(
    assignments: list[Assignment], owners: dict[int, Owner], found: OnRecord, *, on: date
) -> list[Told]:
    dates = {a.pk: (a.operation.or_date, a.opens_on, a.clear_by) for a in assignments}
    return _tell(assignments, dates, owners, found, on=on, settings=_settings(found))


def standing_of(assignment: Assignment, *, on: date) -> Told:
    """Return what one assignment is today, `on`."""
    return standings([assignment], on=on)[0]


def _tell(
    assignments: list[Assignment],
    dates: dict[int, Dates],
    owners: dict[int, Owner],
    found: OnRecord,
    *,
    on: date,
    settings: Programme | SettingsRow,
) -> list[Told]:
    told = []
    for one in assignments:
        pk = one.pk
        facts = _facts(pk, dates[pk], owners[pk], found, settings.attempts_allowed)
        answer = standing(facts, on=on, notice_days=settings.notice_days)
        told.append(Told(one, facts, answer, sheet_at=found.sheets.get(pk), used=pk in found.used))
    return told


def _with_invitations(told: list[Told], found: OnRecord) -> list[Told]:
    """Add the latest invitations, each with its message and end."""
    read = {one.pk: one for one in _invitations(ids=found.latest.values())} if found.latest else {}
    return [
        replace(one, invitation=read[found.latest[one.assignment.pk]])
        if one.assignment.pk in found.latest
        else one
        for one in told
    ]


def _facts(pk: int, dates: Dates, owner: Owner, found: OnRecord, attempts_allowed: int) -> Facts:
    """Say of one assignment what the rule wants to know."""
    past = found.matched.get(owner, [])
    waived = found.accepted.get((pk, None))
    held = found.teach_backs.get(pk)
    return Facts(
        *dates,
        clearances=tuple(_clearance(pk, row, found) for row in found.clearances.get(owner, [])),
        waived=waived is True,
        waiver_awaits_second=waived is False,
        progress=Progress(
            invited=pk in found.latest or pk in found.sheets,
            begun=pk in found.begun,
            failed=bool(past) and not past[-1].passed,
            needs_teach_back=needs_teach_back(
                past,
                attempts_allowed=attempts_allowed,
                one_more=_one_more(held, found.handed_in.get(owner)),
            ),
            needs_visit=held is not None and held.outcome == TeachBackOutcome.NEEDS_VISIT,
            undecided=pk in found.undecided,
        ),
    )


def _one_more(held: TeachBackRow | None, last_quiz: datetime | None) -> bool:
    """Whether the last teach-back gave an attempt that has not been used since."""
    if held is None or not held.one_more:
        return False
    return last_quiz is None or instant(held.at) > last_quiz


def _clearance(assignment: int, row: ClearanceRow, found: OnRecord) -> ClearanceFact:
    signed = found.accepted.get((assignment, row.pk))
    return ClearanceFact(
        cleared_on=date.fromisoformat(row.cleared_on),
        evidence=Evidence(row.evidence),
        signed_off=signed is True,
        awaits_second=signed is False,
        counts=not row.superseded,
        id=row.pk,
    )


@prepared
def _invitations() -> QuerySet[Invitation]:
    sent = Invitation.objects.filter(pk__among=GivenIds("ids"))
    return sent.select_related("message", "end")
