"""A schedule goes on naming a record that was merged: it means the patient who speaks for it."""

import io
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from patients.import_schedule import ChangedSincePreview, Preview, apply
from patients.merge import merge, undo_merge
from patients.models import Booking, Merge, Operation, OperationChange, Patient, PatientChange
from patients.rules.schedule_changes import Verdict
from patients.rules.schedule_reasons import Notice
from patients.schedule_words import notice_words
from tests.factories import a_member, a_procedure, a_programme
from tests.patients.test_import_schedule import AT, counts, data_of, looked, reasons, taken

pytestmark = pytest.mark.django_db

# The record number that is kept; on it the patient has her married name and another address.
KEPT = {
    "MRN": "B-456",
    "Last Name": "Brandvold",
    "Email": "brandvold@example.org",
    "Case Number": "",
    "Procedure": "Gastric bypass, Roux-en-Y",
}
MERGED = {"MRN": "A-123"}  # with Ana Silva's own name, operation C-1


@pytest.fixture(autouse=True)
def merged() -> Merge:
    a_programme(at=AT)
    a_procedure()
    a_procedure("RYGB", "Gastric bypass, Roux-en-Y")
    taken(MERGED, KEPT)
    kept, gone = Patient.objects.get(mrn="B-456"), Patient.objects.get(mrn="A-123")
    by = a_member("dietitian").pk
    return merge(kept, gone, reason="one person", at=AT + timedelta(hours=1), by_id=by)


def facts() -> list[tuple[object, ...]]:
    fields = ("mrn", "given_names", "family_names", "email", "phone", "language")
    return list(Patient.objects.order_by("pk").values_list(*fields))


def said(found: Preview) -> list[str]:
    return [notice_words(notice) for proposal in found.proposals for notice in proposal.notices]


def test_its_row_is_the_kept_patients_and_says_so() -> None:
    before = facts()
    found = taken({**MERGED, "OR Date": "2027-04-08", "Email": "new@example.org", "Phone": "1"})
    assert counts(found) == (0, 1, 0, 0)
    operation = Operation.objects.get(case_number="C-1")
    assert operation.patient.mrn == "B-456"
    assert operation.or_date == date(2027, 4, 8)
    assert facts() == before, "nobody new, and no fact of either record is another one"
    [words] = said(found)
    assert "merged into MRN B-456" in words


def test_the_same_row_as_before_changes_nothing() -> None:
    found = taken(MERGED, KEPT)
    assert counts(found) == (0, 0, 2, 0)
    assert (Patient.objects.count(), Operation.objects.count()) == (2, 2)


def test_its_record_number_is_found_however_it_is_written() -> None:
    assert counts(looked({**MERGED, "MRN": " a-123 "})) == (0, 0, 1, 0)


def test_a_new_operation_under_its_number_is_booked_for_the_kept_patient() -> None:
    found = taken({**MERGED, "Case Number": "C-9", "OR Date": "2027-06-01"})
    assert counts(found) == (1, 0, 0, 0)
    assert Operation.objects.get(case_number="C-9").patient.mrn == "B-456"
    assert found.proposals[0].patient
    assert [s.notice for s in found.proposals[0].notices] == [
        Notice.MERGED,
        Notice.ANOTHER_OPEN_OPERATION,
    ]


def test_a_row_with_the_kept_records_own_facts_under_the_merged_number_is_hers_too() -> None:
    row = {**MERGED, "Last Name": "Brandvold", "Email": "brandvold@example.org"}
    assert counts(looked(row)) == (0, 0, 1, 0)


def test_a_row_about_neither_is_still_somebody_elses() -> None:
    found = looked({**MERGED, "First Name": "Tobias", "DOB": "1950-01-01"})
    assert reasons(found) == [(2, "mrn_of_somebody_else", "MRN")]


def test_one_operation_under_both_numbers_is_one_operation() -> None:
    row = {"Case Number": "", "OR Date": "2027-05-04", "Procedure": "Sleeve gastrectomy"}
    Operation.objects.update(booking=Booking.DONE)
    found = taken({**KEPT, **row}, {**MERGED, **row})
    assert counts(found) == (1, 0, 1, 0)
    assert Operation.objects.filter(or_date=date(2027, 5, 4)).count() == 1


def test_two_dates_for_one_operation_under_both_numbers_set_no_date() -> None:
    """Fault 30: what contradicts itself is left to a person, under two numbers as under one."""
    same = {"Case Number": "", "Procedure": "Sleeve gastrectomy"}
    found = taken({**KEPT, **same, "OR Date": "2027-05-04"}, {**MERGED, **same})
    assert counts(found) == (0, 0, 0, 2)
    assert {reason for _, reason, _ in reasons(found)} == {"operation_twice"}


def test_names_and_addresses_under_two_numbers_contradict_nothing() -> None:
    found = looked(MERGED, KEPT)
    assert reasons(found) == []


def test_a_new_number_with_the_merged_records_name_may_be_a_duplicate_of_the_kept_one() -> None:
    found = looked({"MRN": "N-1", "Case Number": "C-7"})
    [notice] = found.proposals[0].notices
    assert (notice.notice, notice.detail) == (Notice.POSSIBLE_DUPLICATE, "B-456")


def test_merged_between_the_preview_and_applying_nothing_is_written(merged: Merge) -> None:
    by = a_member("dietitian").pk
    undo_merge(merged, reason="two people", at=AT + timedelta(hours=2), by_id=by)
    shown = looked({**MERGED, "Email": "new@example.org"})
    assert counts(shown) == (0, 1, 0, 0)
    merge(merged.kept, merged.merged, reason="one", at=AT + timedelta(hours=3), by_id=by)
    with pytest.raises(ChangedSincePreview) as refused:
        apply(
            data_of({**MERGED, "Email": "new@example.org"}),
            day_first=None,
            at=AT,
            shown=shown.fingerprint,
        )
    assert counts(refused.value.preview) == (0, 0, 1, 0)


def test_after_undoing_its_rows_are_its_own_again(merged: Merge) -> None:
    by = a_member("dietitian").pk
    undo_merge(merged, reason="two people", at=AT + timedelta(hours=2), by_id=by)
    found = taken({**MERGED, "OR Date": "2027-04-08", "Email": "new@example.org"})
    assert (counts(found), said(found)) == ((0, 1, 0, 0), [])
    operation = Operation.objects.get(case_number="C-1")
    assert (operation.patient.mrn, operation.patient.email) == ("A-123", "new@example.org")


def test_what_was_merged_on_and_on_is_who_speaks_now(merged: Merge) -> None:
    taken({"MRN": "Z-789", "Last Name": "Okonjo", "Case Number": "C-5"})
    last = Patient.objects.get(mrn="Z-789")
    by = a_member("dietitian").pk
    merge(last, merged.kept, reason="one", at=AT + timedelta(hours=2), by_id=by)
    found = taken({**MERGED, "OR Date": "2027-04-08"})
    assert Operation.objects.get(case_number="C-1").patient == last
    assert "merged into MRN Z-789" in said(found)[0]


def test_history_says_that_the_file_moved_it() -> None:
    taken({**MERGED, "OR Date": "2027-04-08"})
    change = OperationChange.objects.order_by("-pk")[0]
    assert (change.or_date, change.source) == (date(2027, 4, 8), "schedule file: week.csv")
    assert PatientChange.objects.count() == 2


def test_the_command_says_so(tmp_path: Path) -> None:
    path = tmp_path / "week.csv"
    path.write_bytes(data_of({**MERGED, "OR Date": "2027-04-08"}))
    out = io.StringIO()
    call_command("import_schedule", str(path), stdout=out)
    assert "merged into MRN B-456" in out.getvalue()


def test_the_number_of_queries_does_not_depend_on_the_rows() -> None:
    rows = [{**MERGED, "Case Number": f"C-{n}"} for n in range(60)]
    with CaptureQueriesContext(connection) as few:
        looked(*rows[:2])
    with CaptureQueriesContext(connection) as many:
        found = looked(*rows)
    assert len(many) == len(few)
    assert found.counts[Verdict.REJECTED] == 0
