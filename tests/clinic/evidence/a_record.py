"""A patient to whom everything happened that a clearance record tells about."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from clinic.confirm import answer, confirm
from clinic.evidence.gather import gather
from clinic.evidence.record import ClearanceRecord
from clinic.models import StaffUser
from education import teach_back
from education.clear import revoke, revoke_waiver, waive
from education.models import Assignment, Submission
from education.rules.teach_back import TeachBackOutcome
from education.teach_back import Said, points_of
from patients.clock import now
from patients.contact import log_contact
from patients.models import Means, Operation, Outcome, Patient
from patients.other_names import add
from patients.rules.identity import NameKind
from patients.schedule import move
from tests.factories import (
    PLAIN,
    a_member,
    a_patient,
    a_programme,
    a_submission,
    an_assignment,
    an_edition,
    an_invitation,
    an_operation,
)

AFTER = "first_weeks_at_home.toml"


@dataclass(frozen=True)
class Story:
    """Forty days: booked, invited, failed, passed, moved, confirmed; and home is not taught yet."""

    patient: Patient
    operation: Operation
    assignment: Assignment
    failed: Submission
    passed: Submission
    dietitian: StaffUser
    begun: datetime

    def day(self, days: int) -> datetime:
        """Return the instant so many days after the story began."""
        return self.begun + timedelta(days=days)

    def record(self, *, on: date | None = None, at: datetime | None = None) -> ClearanceRecord:
        """Return the clearance record, made by the auditor."""
        return gather(self.patient, on=on, at=at or now(), by="Casimir Boateng")


def a_story(**facts: Any) -> Story:
    """Let it all happen, up to an hour ago."""
    begun = now() - timedelta(days=40, hours=1)
    a_programme(at=begun - timedelta(days=300))
    before = an_edition(at=begun - timedelta(days=200)).module
    home = an_edition((PLAIN / AFTER).read_text(), at=begun - timedelta(days=200)).module
    patient = a_patient(at=begun, **facts)
    dietitian, clinician = (
        a_member("dietitian", name="Imogen Tallis"),
        a_member("clinician", name="Dr. Priscilla Onwuachi"),
    )
    operation = an_operation(patient=patient, at=begun, days_ahead=60)
    assignment = an_assignment(operation=operation, module=before, at=begun, opens_days=-60)
    after = an_assignment(
        operation=operation, module=home, at=begun, opens_days=1, clear_by_days=30
    )
    story = Story(patient, operation, assignment, None, None, dietitian, begun)  # type: ignore[arg-type]
    link, _ = an_invitation(assignment=assignment, at=story.day(2))
    failed = a_submission(link, wrong=3, at=story.day(3))
    passed = a_submission(link, at=story.day(5))
    by = dietitian.pk
    log_contact(
        patient,
        means=Means.CALL,
        outcome=Outcome.LEFT_A_MESSAGE,
        at=story.day(6),
        by_id=by,
        note="With her son.",
    )
    add(
        patient,
        kind=NameKind.FORMER,
        given_names="Wilhelmina",
        family_names="Ashdown",
        at=story.day(7),
        by_id=by,
        source="told us",
    )
    said = {point.question.key: Said("Sips, not gulps.", True) for point in points_of(assignment)}
    twice = teach_back.record(
        assignment,
        outcome=TeachBackOutcome.UNDERSTOOD,
        means=Means.CALL,
        said=said,
        next_on=None,
        at=story.day(8),
        by_id=by,
        note="Sips, not gulps, she says.",
    ).clearance
    assert twice is not None
    revoke(twice, reason="Another patient was meant.", at=story.day(9), by_id=by)
    waiver = waive(after, reason="Taught on the ward.", at=story.day(10), by_id=clinician.pk)
    revoke_waiver(waiver, reason="Not yet, it seems.", at=story.day(11), by_id=clinician.pk)
    assert operation.or_date
    moved = move(
        operation,
        operation.or_date + timedelta(days=2),
        at=story.day(12),
        reason="The room was needed.",
        source="by hand",
        by_id=clinician.pk,
    )
    given = answer(moved, at=story.day(20))
    confirm(moved, seen=given.seen, at=story.day(20), by=clinician)
    return Story(
        patient,
        Operation.objects.get(pk=operation.pk),
        Assignment.objects.get(pk=assignment.pk),
        failed,
        passed,
        dietitian,
        begun,
    )
