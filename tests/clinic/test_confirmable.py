"""`manage.py confirmable MRN`: the coordinator's answer on a command line, and its exit code."""

import logging
from datetime import timedelta
from io import StringIO
from typing import Any
from unittest.mock import patch

import pytest
from django.core.management import call_command
from django.db import OperationalError, connection

from clinic.models import TrailEntry
from education.clear import clear_by_teach_back
from education.models import Assignment
from patients.clock import now
from patients.merge import merge
from patients.models import Booking, Patient
from patients.schedule import change, move
from tests.factories import (
    a_member,
    a_patient,
    a_procedure,
    an_assignment,
    an_operation,
)

pytestmark = pytest.mark.django_db

CONFIRM, HOLD, CANNOT_TELL = 0, 1, 2


def asked(mrn: str) -> tuple[int, str]:
    """Return the exit code and what was printed."""
    out = StringIO()
    try:
        call_command("confirmable", mrn, stdout=out)
    except SystemExit as left:
        return int(left.code or 0), out.getvalue()
    return 0, out.getvalue()


class FailTheNth:
    """Lets the n-th query of a command fail, as a database that goes away."""

    def __init__(self, which: int) -> None:
        self.which, self.made = which, 0

    @property
    def failed(self) -> bool:
        """Whether there were so many."""
        return self.made >= self.which

    def __call__(self, execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        self.made += 1
        if self.made == self.which:
            raise OperationalError("the database went away")
        return execute(sql, params, many, context)


@pytest.fixture
def patient() -> Patient:
    return a_patient(mrn="LF-00123", given_names="Quilla", family_names="Vandersloot")


@pytest.fixture
def assignment(patient: Patient) -> Assignment:
    return an_assignment(operation=an_operation(patient=patient))


def clear(assignment: Assignment) -> None:
    clear_by_teach_back(
        assignment.operation.patient,
        assignment.module,
        at=now(),
        by_id=a_member("dietitian").pk,
        note="Said it all.",
    )


def test_confirm_is_0(assignment: Assignment) -> None:
    clear(assignment)
    code, said = asked("LF-00123")
    assert code == CONFIRM
    assert said.startswith("CONFIRM\n")
    assert "teach-back seen by staff" in said
    assert "Quilla Vandersloot" in said


def test_hold_is_1_and_says_why(assignment: Assignment) -> None:
    code, said = asked("LF-00123")
    assert code == HOLD
    assert said.startswith("HOLD\n")
    assert "Before your operation" in said
    assert "not invited yet" in said


def test_the_mrn_is_found_in_any_case_and_with_blanks(assignment: Assignment) -> None:
    assert asked(" lf-00123 ")[0] == HOLD


def test_an_unknown_mrn_cannot_be_told(assignment: Assignment) -> None:
    """Not even the beginning of one, or nothing at all."""
    for mrn in ("LF-0012", "LF-99999", "", "\x00"):
        code, said = asked(mrn)
        assert code == CANNOT_TELL, mrn
        assert "no patient" in said


def test_without_an_open_operation_it_cannot_be_told(
    assignment: Assignment, patient: Patient
) -> None:
    change(assignment.operation, at=now(), booking=Booking.CANCELLED)
    code, said = asked(patient.mrn)
    assert code == CANNOT_TELL
    assert "No operation of this patient is open" in said


def test_of_several_operations_each_is_printed_and_the_worst_decides(
    assignment: Assignment, patient: Patient
) -> None:
    clear(assignment)
    other = a_procedure("BYP", "Gastric bypass")
    an_operation(patient=patient, procedure=other, days_ahead=90)
    code, said = asked(patient.mrn)
    assert code == HOLD
    assert "Confirm: Sleeve gastrectomy" in said
    assert "Hold: Gastric bypass" in said
    assert "No module is required" in said


def test_a_date_that_passed_unsettled_holds(assignment: Assignment, patient: Patient) -> None:
    clear(assignment)
    operation = move(
        assignment.operation, now().date() - timedelta(days=3), at=now(), reason="It was done."
    )
    assert operation.is_open
    code, said = asked(patient.mrn)
    assert code == HOLD
    assert "The OR date has passed" in said


def test_a_merged_record_is_answered_for_by_the_one_that_speaks_for_it(
    assignment: Assignment, patient: Patient
) -> None:
    clear(assignment)
    kept = a_patient(mrn="LF-00777")
    by = a_member("administrator")
    merge(kept, patient, reason="one person", at=now(), by_id=by.pk)
    code, said = asked("LF-00123")
    assert code == CONFIRM
    assert "MRN LF-00123 was merged into MRN LF-00777." in said
    about = set(TrailEntry.objects.values_list("patient__mrn", flat=True))
    assert about == {"LF-00123", "LF-00777"}


def test_the_trail_says_that_it_was_asked(assignment: Assignment, patient: Patient) -> None:
    asked(patient.mrn)
    entry = TrailEntry.objects.get()
    assert (entry.act, entry.patient, entry.by) == ("command confirmable", patient, None)
    assert entry.detail["account"]


def test_whichever_query_fails_it_cannot_tell(assignment: Assignment, patient: Patient) -> None:
    """Promise C2: 0 of the injected failures read as confirm, and none as hold."""
    clear(assignment)
    failing = FailTheNth(1)
    while True:
        with connection.execute_wrapper(failing):
            code, said = asked(patient.mrn)
        if not failing.failed:
            break
        assert code == CANNOT_TELL, (failing.which, said)
        failing = FailTheNth(failing.which + 1)
    assert code == CONFIRM
    assert failing.which > 8


def test_no_name_and_no_mrn_reach_the_log(
    assignment: Assignment, patient: Patient, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    with patch("clinic.management.commands.confirmable.confirmable", side_effect=TypeError("x")):
        assert asked(patient.mrn)[0] == CANNOT_TELL
    written = "\n".join(record.getMessage() for record in caplog.records)
    assert "confirmable failed" in written
    for fact in (patient.mrn, "Quilla", "Vandersloot"):
        assert fact not in written
