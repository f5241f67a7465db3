"""`manage.py standing MRN [--on DATE]`: what the patient's page says, on a command line."""

from datetime import UTC, date, datetime
from io import StringIO
from unittest.mock import patch

import pytest
from django.core.management import CommandError, call_command
from django.db import OperationalError

from clinic.models import TrailEntry
from education.clear import clear_by_teach_back, revoke
from education.models import Assignment
from patients.merge import merge
from patients.models import Patient
from patients.schedule import move
from tests.factories import a_member, a_patient, an_assignment, an_operation

pytestmark = pytest.mark.django_db


def asked(mrn: str, *arguments: str) -> tuple[int, str]:
    """Return the exit code and what was printed."""
    out = StringIO()
    try:
        call_command("standing", mrn, *arguments, stdout=out)
    except SystemExit as left:
        return int(left.code or 0), out.getvalue()
    return 0, out.getvalue()


def instant(month: int, day: int) -> datetime:
    return datetime(2026, month, day, 18, tzinfo=UTC)


@pytest.fixture
def assignment() -> Assignment:
    """Enrolled on 2 February 2026 for 20 March, cleared on 10 February, revoked on 1 March."""
    at = instant(2, 2)
    patient = a_patient(at=at, mrn="LF-9", given_names="Quilla", family_names="Vandersloot")
    operation = an_operation(patient=patient, at=at, or_date=date(2026, 3, 20))
    assignment = an_assignment(operation=operation, at=at)
    by = a_member("dietitian").pk
    clearance = clear_by_teach_back(
        patient, assignment.module, at=instant(2, 10), by_id=by, note="all"
    )
    revoke(clearance, reason="her sister", at=instant(3, 1), by_id=by)
    move(operation, date(2026, 4, 2), at=instant(3, 5))
    return assignment


@pytest.mark.parametrize(
    "on, standing, or_date",
    [
        ("2026-02-09", "not due; not invited yet", "20 March 2026"),
        ("2026-02-10", "cleared; teach-back seen by staff", "20 March 2026"),
        ("2026-02-28", "cleared; teach-back seen by staff", "20 March 2026"),
        ("2026-03-01", "not due; not invited yet", "20 March 2026"),
        ("2026-03-05", "not due; not invited yet", "2 April 2026"),
        ("2026-03-27", "late; not invited yet", "2 April 2026"),
    ],
)
def test_any_past_day_answers_as_it_stood_at_its_end(
    assignment: Assignment, on: str, standing: str, or_date: str
) -> None:
    """Promise C5: what came later (a revocation, a moved date) changes no earlier day."""
    code, said = asked("lf-9", "--on", on)
    assert code == 0
    word, reason = standing.split("; ")
    assert f"the all-liquid weeks: {word} (" in said
    assert reason in said
    assert f"OR date {or_date}" in said
    assert "As it stood at the end of" in said


def test_today_is_the_default(assignment: Assignment) -> None:
    code, said = asked("LF-9")
    assert code == 0
    assert "MRN LF-9, Quilla Vandersloot" in said
    assert "Today, " in said


@pytest.mark.parametrize(
    "arguments, why",
    [
        (("LF-9", "--on", "2999-01-01"), "is still to come"),
        (("LF-9", "--on", "2026-02-01"), "was not on the register on 1 February 2026"),
        (("LF-8",), "no patient on the register has this MRN"),
    ],
)
def test_what_cannot_be_told_is_2(
    assignment: Assignment, arguments: tuple[str, ...], why: str
) -> None:
    code, said = asked(*arguments)
    assert code == 2
    assert why in said
    assert "Quilla" not in said


def test_a_day_that_is_none_is_refused(assignment: Assignment) -> None:
    with pytest.raises(CommandError, match="write the day like 2027-02-03"):
        asked("LF-9", "--on", "3/2/2026")


def test_a_merged_record_is_answered_for_since_the_merge(assignment: Assignment) -> None:
    kept = a_patient(at=instant(2, 2), mrn="LF-1")
    merge(
        kept,
        Patient.objects.get(mrn="LF-9"),
        reason="one",
        at=instant(4, 10),
        by_id=a_member("administrator").pk,
    )
    assert "MRN LF-9 was merged into MRN LF-1" in asked("LF-9")[1]
    assert "MRN LF-9, Quilla" in asked("LF-9", "--on", "2026-04-09")[1]


def test_the_trail_says_whose_record_was_read(assignment: Assignment) -> None:
    asked("LF-9", "--on", "2026-02-10")
    entry = TrailEntry.objects.get()
    assert (entry.act, entry.patient) == ("command standing", assignment.operation.patient)


def test_a_database_that_fails_cannot_tell(assignment: Assignment) -> None:
    with patch("clinic.management.commands.standing.read", side_effect=OperationalError("gone")):
        code, said = asked("LF-9")
    assert (code, said) == (2, "Cannot tell: a fact could not be read.\n")
