"""The import of a schedule against the records: promise S5, faults 25, 27 and 28."""

import csv
import io
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pytest_django.fixtures import DjangoAssertNumQueries

from patients import import_schedule, schedule
from patients.import_schedule import (
    ChangedSincePreview,
    Preview,
    apply,
    preview,
    rejected_csv,
)
from patients.models import Booking, Operation, OperationChange, Patient, PatientChange, Procedure
from patients.register import correct
from patients.rules.schedule_booking import PLAIN
from patients.rules.schedule_changes import Verdict
from patients.rules.schedule_columns import NOTES
from patients.rules.schedule_known import CONFIRMED
from patients.rules.schedule_reasons import NotASchedule, Notice, Reason, Refusal
from patients.schedule_words import NOTICES, PROBLEMS, REFUSALS
from tests.beside import Beside
from tests.factories import a_patient, a_procedure, a_programme, an_operation
from tests.patients.rules.test_schedule_rows import PREFIXES
from tests.which_database import ON_POSTGRES

pytestmark = pytest.mark.django_db

AT = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)
ROW = {
    "MRN": "A1",
    "Last Name": "Silva",
    "First Name": "Ana",
    "DOB": "1980-02-03",
    "Email": "ana@example.org",
    "Phone": "312 555 0100",
    "Language": "Spanish",
    "Case Number": "C-1",
    "Procedure": "Sleeve gastrectomy",
    "Surgeon": "Dr. Brask",
    "Location": "East",
    "OR Date": "2027-03-25",
    "Status": "Scheduled",
}
HEADER = list(ROW)


@pytest.fixture(autouse=True)
def _programme() -> None:
    a_programme(at=AT)
    a_procedure()
    a_procedure("RYGB", "Gastric bypass, Roux-en-Y")


def text_of(*rows: dict[str, str], separator: str = ",", header: list[str] | None = None) -> str:
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=separator, lineterminator="\r\n")
    writer.writerow(header or HEADER)
    writer.writerows([{**ROW, **row}[h] for h in (header or HEADER)] for row in rows)
    return out.getvalue()


def data_of(*rows: dict[str, str]) -> bytes:
    return text_of(*rows).encode()


def looked(*rows: dict[str, str], day_first: bool | None = None) -> Preview:
    return preview(data_of(*rows), day_first=day_first, at=AT)


def taken(*rows: dict[str, str], at: datetime = AT) -> Preview:
    return apply(data_of(*rows), day_first=None, at=at, name="week.csv")


def reasons(found: Preview) -> list[tuple[int, str, str]]:
    return [
        (proposal.line, str(problem.reason), problem.column)
        for proposal in found.proposals
        for problem in proposal.problems
    ]


def notices(found: Preview) -> list[Notice]:
    return [said.notice for proposal in found.proposals for said in proposal.notices]


def counts(found: Preview) -> tuple[int, ...]:
    """Created, updated, unchanged, rejected."""
    return tuple(found.counts[verdict] for verdict in Verdict)


def rows_on_record() -> list[int]:
    tables = (Patient, PatientChange, Operation, OperationChange, Procedure)
    return [table.objects.count() for table in tables]


# --- promise S5


def test_s5_a_preview_writes_nothing() -> None:
    before = rows_on_record()
    assert counts(looked({}, {"MRN": "", "Case Number": "C-2"})) == (1, 0, 0, 1)
    assert rows_on_record() == before


def test_a_new_row_enrols_and_books_with_history() -> None:
    assert counts(taken({})) == (1, 0, 0, 0)
    operation = Operation.objects.select_related("patient").get()
    assert operation.or_date == date(2027, 3, 25)
    assert operation.booking == Booking.PROPOSED
    assert (operation.patient.full_name, operation.patient.language) == ("Ana Silva", "es")
    assert operation.changes.get().source == "schedule file: week.csv"


def test_the_same_file_again_changes_nothing() -> None:
    taken({}, {"MRN": "A2", "Case Number": ""})
    before = rows_on_record()
    assert counts(taken({}, {"MRN": "A2", "Case Number": ""})) == (0, 0, 2, 0)
    assert rows_on_record() == before


def test_a_moved_date_is_told_with_both_dates_and_moves_once_applied() -> None:
    taken({})
    found = taken({"OR Date": "2027-04-08"}, at=AT + timedelta(days=1))
    moved = found.proposals[0].moved
    assert moved
    assert (moved.old, moved.new) == (date(2027, 3, 25), date(2027, 4, 8))
    assert Operation.objects.get().or_date == date(2027, 4, 8)
    assert counts(found) == (0, 1, 0, 0)


def test_an_empty_or_date_takes_the_date_away_and_no_other_cell_takes_anything() -> None:
    taken({})
    blank = dict.fromkeys(HEADER[4:8] + HEADER[9:], "")
    found = taken(blank)
    assert [c.field for c in found.proposals[0].operation_changes] == ["or_date"]
    operation = Operation.objects.select_related("patient").get()
    assert (operation.or_date, operation.surgeon) == (None, "Dr. Brask")
    assert operation.patient.email == "ana@example.org"


def test_all_or_nothing_when_the_database_refuses_halfway(monkeypatch: pytest.MonkeyPatch) -> None:
    """The patients are written by then, and the operations too."""

    def fail(*args: object, **kwargs: object) -> None:
        raise RuntimeError(rows_on_record())

    monkeypatch.setattr("patients.schedule.change_all", fail)
    before = rows_on_record()
    with pytest.raises(RuntimeError) as failed:
        taken({}, {"MRN": "A2", "Case Number": "C-2"})
    assert failed.value.args[0][:4] == [2, 2, 2, 2]
    assert rows_on_record() == before


def test_a_record_that_changed_since_the_preview_is_not_written_over() -> None:
    taken({})
    shown = looked({"OR Date": "2027-04-08"})
    schedule.move(Operation.objects.get(), date(2027, 5, 6), at=AT)
    with pytest.raises(ChangedSincePreview) as caught:
        apply(data_of({"OR Date": "2027-04-08"}), day_first=None, at=AT, shown=shown.fingerprint)
    moved = caught.value.preview.proposals[0].moved
    assert moved
    assert moved.old == date(2027, 5, 6)
    assert Operation.objects.get().or_date == date(2027, 5, 6)


def test_10_000_rows_take_a_constant_number_of_queries(
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    few = data_of(*({"MRN": f"A{n}", "Case Number": f"C{n}"} for n in range(20)))
    many = data_of(*({"MRN": f"A{n}", "Case Number": f"C{n}"} for n in range(1500)))
    for data in (few, many):
        with django_assert_max_num_queries(6):
            preview(data, day_first=None, at=AT)


# --- rows against the record: what the row says, what comes of it

PERSONS = [
    ({"MRN": " a1 "}, Verdict.UNCHANGED, None, "the number in another case"),
    ({"First Name": "ANA", "Last Name": "SILVA"}, Verdict.UNCHANGED, None, "capitals tell nothing"),
    ({"First Name": "Anna"}, Verdict.UPDATED, None, "a small change"),
    ({"First Name": "Ana María"}, Verdict.UPDATED, None, "one name more"),
    ({"Last Name": "Quill"}, Verdict.UPDATED, Notice.NAME_CHANGED, "a new family name"),
    ({"Email": "new@example.org"}, Verdict.UPDATED, None, "a new address"),
    ({"Email": "ANA@example.org"}, Verdict.UNCHANGED, None, "an address in another case"),
    ({"Phone": "(312) 555-0100"}, Verdict.UNCHANGED, None, "the same digits"),
    ({"DOB": "1980-03-02"}, Reason.MRN_OF_SOMEBODY_ELSE, None, "another birthday"),
    ({"First Name": "Rui"}, Reason.MRN_OF_SOMEBODY_ELSE, None, "a twin's given name"),
    (
        {"First Name": "Otto", "Last Name": "Brandt"},
        Reason.MRN_OF_SOMEBODY_ELSE,
        None,
        "a wholly different name",
    ),
]


@pytest.mark.parametrize("row, outcome, notice, why", PERSONS)
def test_persons(
    row: dict[str, str], outcome: Verdict | Reason, notice: Notice | None, why: str
) -> None:
    taken({})
    found = looked(row)
    assert outcome in {found.proposals[0].verdict, *(r for _, r, _ in reasons(found))}, why
    assert notices(found) == ([notice] if notice else []), why


def test_fault_28_the_same_person_under_a_new_number_is_created_and_pointed_at() -> None:
    taken({})
    found = taken({"MRN": "B7", "Case Number": "C-7", "First Name": "ANA", "Last Name": "SÍLVA"})
    said = [s for s in found.proposals[0].notices if s.notice == Notice.POSSIBLE_DUPLICATE]
    assert [s.detail for s in said] == ["A1"]
    assert counts(found) == (1, 0, 0, 0)


# booking here, who set it, status in the file, booking after or reason, notice
HERE, FILE = "a person", "a file"
BOOKINGS = [
    (Booking.PROPOSED, HERE, "Confirmed", Booking.PROPOSED, None),
    (Booking.CONFIRMED, HERE, "Scheduled", Booking.CONFIRMED, None),
    (Booking.CONFIRMED, HERE, "", Booking.CONFIRMED, None),
    (Booking.CONFIRMED, HERE, "On hold", Booking.ON_HOLD, Notice.CONFIRMATION_LOST),
    (Booking.CONFIRMED, HERE, "Canceled", Booking.CANCELLED, Notice.CONFIRMATION_LOST),
    (Booking.PROPOSED, HERE, "Hold", Booking.ON_HOLD, None),
    (Booking.PROPOSED, HERE, "Completed", Reason.DONE_IN_FUTURE, None),
    (Booking.ON_HOLD, HERE, "Scheduled", Booking.ON_HOLD, Notice.STAYS_ON_HOLD),
    (Booking.ON_HOLD, FILE, "Scheduled", Booking.PROPOSED, Notice.REVIVED),
    (Booking.CANCELLED, HERE, "Scheduled", Booking.CANCELLED, Notice.STAYS_CANCELLED),
    (Booking.CANCELLED, HERE, "On hold", Reason.CANCELLED_HERE, None),
    (Booking.CANCELLED, FILE, "Booked", Booking.PROPOSED, Notice.REVIVED),
    (Booking.DONE, HERE, "Scheduled", Booking.DONE, Notice.STAYS_DONE),
    (Booking.DONE, HERE, "Cancelled", Reason.DONE_HERE, None),
]


@pytest.mark.parametrize("before, who, status, outcome, notice", BOOKINGS)
def test_bookings(
    before: Booking, who: str, status: str, outcome: Booking | Reason, notice: Notice | None
) -> None:
    taken({})
    source = "schedule file: earlier.csv" if who == FILE else "page"
    schedule.change(Operation.objects.get(), at=AT, source=source, booking=before)
    found = taken({"Status": status})
    assert outcome in {Operation.objects.get().booking, *(r for _, r, _ in reasons(found))}
    assert notices(found) == ([notice] if notice else [])


def test_a_confirmed_operation_whose_date_moves_is_proposed_again() -> None:
    taken({})
    schedule.change(Operation.objects.get(), at=AT, booking=Booking.CONFIRMED)
    found = taken({"OR Date": "2027-04-08", "Status": "Confirmed"})
    assert notices(found) == [Notice.CONFIRMATION_LOST]
    assert Operation.objects.get().booking == Booking.PROPOSED


def test_the_bookings_of_the_rules_are_the_records_own() -> None:
    assert {*PLAIN.values(), CONFIRMED} == {str(booking) for booking in Booking}


def test_operations_are_found_by_case_number_or_as_the_only_open_one() -> None:
    patient = a_patient(
        at=AT, mrn="A1", given_names="Ana", family_names="Silva", birth_date=date(1980, 2, 3)
    )
    first = an_operation(patient=patient, at=AT, case_number="")
    assert looked({"Case Number": ""}).proposals[0].operation
    assert looked({"Case Number": "C-9"}).proposals[0].operation, "one without a case number"
    an_operation(patient=patient, at=AT, case_number="C-2", days_ahead=60)
    assert reasons(looked({"Case Number": ""})) == [(2, "several_operations_fit", "Case Number")]
    assert first.or_date
    same_day = looked({"Case Number": "", "OR Date": first.or_date.isoformat()})
    assert same_day.proposals[0].operation
    found = looked({"Case Number": "C-2"}, {"MRN": "B2", "Case Number": "C-2"})
    assert {r for _, r, _ in reasons(found)} == {"operation_twice"}
    assert reasons(looked({"MRN": "B2", "Case Number": "C-2"})) == [
        (2, "case_of_somebody_else", "Case Number")
    ]


def test_two_operations_of_one_person_and_a_row_that_stands_twice() -> None:
    bypass = {"Procedure": "rygb", "Case Number": "C-2"}
    assert counts(taken({}, bypass, bypass)) == (2, 0, 1, 0)
    assert (Patient.objects.count(), Operation.objects.count()) == (1, 2)


def test_two_new_case_numbers_never_take_the_same_operation() -> None:
    taken({"Case Number": ""})
    taken({"Case Number": "C-1"}, {"Case Number": "C-2", "OR Date": "2027-06-10"})
    dates = set(Operation.objects.values_list("or_date", flat=True))
    assert dates == {date(2027, 3, 25), date(2027, 6, 10)}


def test_an_unknown_procedure_is_rejected_with_the_known_ones_named() -> None:
    found = looked({"Procedure": "Lap band"})
    assert reasons(found) == [(2, "procedure_unknown", "Procedure")]
    assert "Sleeve gastrectomy" in rejected_csv(found).decode()


def test_a_past_date_is_taken_and_pointed_at_unless_it_is_done() -> None:
    assert notices(looked({"OR Date": "2026-11-02"})) == [Notice.DATE_PASSED]
    assert notices(looked({"OR Date": "2026-11-02", "Status": "Done"})) == []


# --- fault 25


def test_fault_25_a_byte_order_mark() -> None:
    assert counts(preview(b"\xef\xbb\xbf" + data_of({}), day_first=None, at=AT)) == (1, 0, 0, 0)


def test_fault_25_cp1252_and_utf_16() -> None:
    for encoding in ("cp1252", "utf-16"):
        data = text_of({"Last Name": "Núñez"}).encode(encoding)
        found = preview(data, day_first=None, at=AT)
        assert found.encoding == encoding
        assert found.proposals[0].row
        assert found.proposals[0].row.family_names == "Núñez"


def test_fault_25_semicolons_and_tabs() -> None:
    for separator in (";", "\t"):
        data = text_of({"Surgeon": "Brask, Ottoline"}, separator=separator).encode()
        assert counts(preview(data, day_first=None, at=AT)) == (1, 0, 0, 0)


def test_fault_25_a_shuffled_header() -> None:
    data = text_of({}, header=sorted(HEADER)).encode()
    assert preview(data, day_first=None, at=AT).proposals[0].row == looked({}).proposals[0].row


def test_fault_25_a_missing_header() -> None:
    data = text_of({}).partition("\r\n")[2].encode()
    with pytest.raises(NotASchedule) as caught:
        preview(data, day_first=None, at=AT)
    assert caught.value.refusal == Refusal.COLUMNS_MISSING


def test_fault_25_ambiguous_dates_force_a_choice() -> None:
    row = {"OR Date": "03/04/2027"}
    found = looked(row, {"MRN": "A2", "Case Number": "C-2", "OR Date": "03/25/2027"})
    assert reasons(found) == [(2, "date_ambiguous", "OR Date")]
    assert found.needs_date_order
    for day_first, meant in ((True, date(2027, 4, 3)), (False, date(2027, 3, 4))):
        chosen = looked(row, day_first=day_first)
        assert (chosen.needs_date_order, chosen.proposals[0].or_date) == (False, meant)


def test_fault_25_one_record_number_for_two_people_rejects_both_and_names_the_lines() -> None:
    found = looked({}, {"First Name": "Otto", "Last Name": "Brandt", "Case Number": "C-2"})
    assert reasons(found) == [(2, "mrn_twice", "MRN"), (3, "mrn_twice", "MRN")]
    assert [p.problems[0].detail for p in found.proposals] == ["3", "2"]


def test_one_operation_with_two_dates_sets_no_date() -> None:
    found = taken({}, {"OR Date": "2027-04-08"})
    assert {r for _, r, _ in reasons(found)} == {"operation_twice"}
    assert not Operation.objects.exists()


def test_two_addresses_for_one_person_reject_the_later_row() -> None:
    found = looked({}, {"Email": "other@example.org", "Case Number": "C-2", "Procedure": "RYGB"})
    assert reasons(found) == [(3, "contradicts_line", "Email")]


def test_fault_25_blank_rows_are_passed_over_and_counted() -> None:
    lines = text_of({}).splitlines()
    text = "\r\n".join([lines[0], "", "," * (len(HEADER) - 1), lines[1], " , ", ""])
    found = preview(text.encode(), day_first=None, at=AT)
    assert (found.table.blank_rows, len(found.proposals)) == (3, 1)


def test_fault_25_more_than_100_000_rows() -> None:
    header, row, _ = text_of({}).split("\r\n")
    with pytest.raises(NotASchedule) as caught:
        preview("\n".join([header, *[row] * 100_001]).encode(), day_first=None, at=AT)
    assert caught.value.refusal == Refusal.TOO_MANY_ROWS


# --- fault 27 and promise T5


def test_fault_27_strange_names_come_to_the_record_as_they_are() -> None:
    names = ["<b>Silva</b>", "Silva 🌊", "=1+1", "A|B^C~D&E\\"]
    taken(*({"MRN": f"A{n}", "Case Number": "", "Last Name": x} for n, x in enumerate(names)))
    assert list(Patient.objects.order_by("mrn").values_list("family_names", flat=True)) == names


@pytest.mark.parametrize("prefix", PREFIXES)
def test_t5_rejected_rows_hold_no_formula_and_come_back_unchanged(prefix: str) -> None:
    row = dict.fromkeys(HEADER, f"{prefix}1+1")
    found = looked(row)
    assert counts(found) == (0, 0, 0, 1)
    back = rejected_csv(found)
    _, written = csv.reader(io.StringIO(back.decode("utf-8-sig"), newline=""))
    for cell in written:
        assert not cell.strip().startswith(("=", "+", "-", "@", "＝", "＋", "－", "＠"))
    again = preview(back, day_first=None, at=AT)
    assert again.table.records[0].cells == found.table.records[0].cells


def test_s5_rejected_rows_come_back_as_a_file_that_imports_once_fixed() -> None:
    good = {"MRN": "A2", "Case Number": "C-2"}
    found = taken({"OR Date": "2027-02-31", "Phone": "+1 312 555 0100"}, good)
    assert counts(found) == (1, 0, 0, 1)
    back = rejected_csv(found).decode("utf-8-sig")
    headings, row = csv.reader(io.StringIO(back, newline=""))
    assert headings == [*NOTES, *HEADER]
    assert row[:2] == ["2", "OR Date"]
    assert all(row[2:4])
    fixed = back.replace("2027-02-31,Scheduled", "2027-02-28,Scheduled").encode("utf-8-sig")
    assert counts(apply(fixed, day_first=None, at=AT)) == (1, 0, 0, 0)
    assert Patient.objects.get(mrn="A1").phone == "+1 312 555 0100"


def test_a_row_with_too_few_fields_comes_back_as_it_was() -> None:
    text = text_of({}).replace(",East", "")
    found = preview(text.encode(), day_first=None, at=AT)
    again = preview(rejected_csv(found), day_first=None, at=AT)
    assert reasons(again) == [(2, "wrong_field_count", "")]
    assert again.table.records[0].cells == found.table.records[0].cells


def test_every_reason_has_its_words() -> None:
    assert set(PROBLEMS) == set(Reason)
    assert set(NOTICES) == set(Notice)
    assert set(REFUSALS) == set(Refusal)


# --- the counts add up, whatever stands in the file

CELLS = {
    "MRN": ["A1", "a1", "A2", "A3", "", "\x00", "=1"],
    "Last Name": ["Silva", "SILVA", "Quill", "", "x" * 201],
    "First Name": ["Ana", "Rui", ""],
    "DOB": ["1980-02-03", "03/02/1980", "31 Feb 1980", ""],
    "Email": ["", "ana@example.org", "no address"],
    "Case Number": ["", "C-1", "C-2"],
    "Procedure": ["SLV", "rygb", "Lap band", ""],
    "OR Date": ["2027-03-25", "2026-10-01", "03/04/2027", "", "soon"],
    "Status": ["", "Scheduled", "Hold", "Done", "Cancelled", "maybe"],
}
ROWS = st.lists(
    st.fixed_dictionaries({name: st.sampled_from(cells) for name, cells in CELLS.items()}),
    max_size=8,
)


@given(rows=ROWS, blanks=st.integers(0, 3), day_first=st.sampled_from([None, True, False]))
@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_s5_the_four_counts_always_add_up_and_applying_does_what_was_shown(
    rows: list[dict[str, str]], blanks: int, day_first: bool | None
) -> None:
    data = (text_of(*rows) + "\r\n" * blanks).encode()
    with transaction.atomic():
        check_the_counts(data, len(rows), blanks, day_first)
        transaction.set_rollback(True)  # each example finds the same record


def check_the_counts(data: bytes, not_blank: int, blanks: int, day_first: bool | None) -> None:
    shown = preview(data, day_first=day_first, at=AT)
    assert sum(counts(shown)) == len(shown.proposals) == not_blank
    assert shown.table.blank_rows == blanks
    done = apply(data, day_first=day_first, at=AT, shown=shown.fingerprint)
    assert done.proposals == shown.proposals
    again = preview(data, day_first=day_first, at=AT)
    assert again.counts[Verdict.CREATED] == 0, "what was created is there"
    assert sum(counts(again)) == not_blank


# --- the command


def test_the_command_shows_the_preview_and_exits_1_when_rows_are_rejected(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, out = tmp_path / "week.csv", tmp_path / "rejected.csv"
    path.write_bytes(data_of({}, {"MRN": "A2", "Case Number": "C-2", "OR Date": "2027-02-31"}))
    with pytest.raises(SystemExit) as ended:
        call_command("import_schedule", str(path), "--dry-run", "--rejected", str(out))
    assert ended.value.code == 1
    shown = capsys.readouterr().out
    assert "Rows in file 2:  created 1  updated 0  unchanged 0  rejected 1" in shown
    assert "line 3, OR Date: rejected. There is no such day: 2027-02-31." in shown
    assert not Patient.objects.exists()
    assert out.read_bytes().startswith(b"\xef\xbb\xbfRejected line,")


def test_the_command_imports_and_takes_the_date_order(tmp_path: Path) -> None:
    path = tmp_path / "week.csv"
    path.write_bytes(data_of({"OR Date": "03/04/2027"}))
    call_command("import_schedule", str(path), "--day-first")
    assert Operation.objects.get().or_date == date(2027, 4, 3)


def test_the_command_says_what_is_wrong_with_a_file(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="cannot be read: No such file"):
        call_command("import_schedule", str(tmp_path / "none.csv"))
    workbook = tmp_path / "week.xlsx"
    workbook.write_bytes(b"PK\x03\x04 [Content_Types].xml")
    with pytest.raises(CommandError, match="spreadsheet workbook"):
        call_command("import_schedule", str(workbook))


def test_an_import_takes_as_many_queries_however_many_its_rows() -> None:
    """Enrolled, corrected, booked and moved at once; what follows from them follows once."""

    def rows(first: int, count: int, **changed: str) -> list[dict[str, str]]:
        return [
            {"MRN": f"Q{n}", "Case Number": f"Q-{n}", "Email": f"q{n}@example.org", **changed}
            for n in range(first, first + count)
        ]

    def queries(first: int, count: int) -> list[int]:
        counted = []
        for changed in ({}, {"OR Date": "2027-04-08", "Phone": "312 555 0177"}):
            with CaptureQueriesContext(connection) as made:
                taken(*rows(first, count, **changed))
            counted.append(len(made))
        return counted

    assert queries(0, 5) == queries(100, 40)
    moved = Operation.objects.filter(or_date=date(2027, 4, 8), patient__phone="312 555 0177")
    assert moved.count() == 45


# What is corrected on Ana's record between the comparison and the writing.
CORRECTED_MEANWHILE: list[tuple[dict[str, Any], str]] = [
    (
        {"given_names": "Thaddeus", "family_names": "Ogletree", "birth_date": date(1950, 7, 4)},
        "the record is another person's: her operation must not become his",
    ),
    ({"email": "typed@example.org"}, "the file's address must not be written over it unseen"),
]


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("facts, why", CORRECTED_MEANWHILE)
def test_a_record_corrected_between_comparing_and_writing_is_left_and_shown_again(
    facts: dict[str, Any], why: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    ana = a_patient(
        at=AT, mrn="A1", given_names="Ana", family_names="Silva", birth_date=date(1980, 2, 3)
    )
    correcting = Beside(
        monkeypatch,
        import_schedule,
        "on_record",
        lambda: correct(ana, at=AT, source="a call", **facts),
    )
    if ON_POSTGRES:
        with pytest.raises(ChangedSincePreview):
            taken({})
        assert not Operation.objects.exists(), why
    else:  # it waits until the file is written
        taken({})
    correcting.end()
    ana.refresh_from_db()
    assert {field: getattr(ana, field) for field in facts} == facts, why
