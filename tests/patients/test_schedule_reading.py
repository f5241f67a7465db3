"""The command reads a file as somebody said; the counts hold whatever was said (promise S5)."""

from datetime import UTC, datetime
from pathlib import Path
from random import Random

import pytest
from django.core.management import CommandError, call_command
from hypothesis import given
from hypothesis import strategies as st

from clinic.models import Role
from patients.import_schedule import preview
from patients.models import Operation
from patients.rules.schedule_changes import Verdict
from patients.rules.schedule_columns import Column
from patients.rules.schedule_reading import header_of, key_of, place_of
from patients.rules.schedule_rows import Plan
from patients.rules.schedule_table import outline
from patients.schedule_reading import choose_columns, say_words
from tests.factories import a_member, a_procedure, a_programme

AT = datetime(2026, 11, 25, 15, tzinfo=UTC)
FILE = (
    "Akte,Name,geb.,Was,Wann,Stand\n"
    'A1,"Silva, Ana",1980-02-03,Sleeve (lap),2027-03-25,ok\n'
    'B2,"Quill, Rui",1975-06-07,Hernia,2027-03-25,ok\n'
)
COLUMNS = {
    0: Column.MRN,
    1: Column.FULL_NAME,
    2: Column.BIRTH_DATE,
    3: Column.PROCEDURE,
    4: Column.OR_DATE,
    5: Column.STATUS,
}
HEADINGS = st.lists(st.sampled_from(["Case", "case ", "MRN", "", "Ort", "é"]), min_size=1)


@given(headings=HEADINGS, order=st.randoms())
def test_the_key_is_the_set_of_headings_in_any_order_and_case(
    headings: list[str], order: Random
) -> None:
    turned = [heading.upper() for heading in headings]
    order.shuffle(turned)
    assert key_of(turned) == key_of(headings)
    assert key_of([*headings, "one more"]) != key_of(headings)


@given(headings=HEADINGS)
def test_a_column_is_found_again_where_it_stands(headings: list[str]) -> None:
    for number in range(len(headings)):
        found = header_of({Column.MRN: place_of(headings, number)}, headings)
        assert found.places == {Column.MRN: number}


@pytest.fixture
def said(db: None) -> None:
    a_programme(at=AT)
    procedure = a_procedure()
    member = a_member(Role.COORDINATOR, name="Imke Rasmussen")
    shown = outline(FILE, header_line=None)
    choose_columns(shown, COLUMNS, at=AT, by_id=member.pk)
    say_words(
        preview(FILE.encode(), day_first=None, at=AT).table,
        plans={"ok": Plan.SCHEDULED},
        procedures={"sleeve (lap)": procedure.pk, "hernia": None},
        unsaid=[],
        day_first=None,
        at=AT,
        by_id=member.pk,
    )


@pytest.mark.usefixtures("said")
def test_the_command_uses_what_was_said_and_rows_not_ours_are_no_failure(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "week.csv"
    path.write_text(FILE)
    call_command("import_schedule", str(path))  # exit code 0
    told = capsys.readouterr().out
    assert "Rows in file 2:  created 1  updated 0  unchanged 0  rejected 1" in told
    assert "Read with the columns that Imke Rasmussen chose on 2026-11-25." in told
    assert "“Hernia” is not one of our procedures." in told
    assert Operation.objects.get().patient.mrn == "A1"


def test_without_it_the_command_says_where_columns_are_said(db: None, tmp_path: Path) -> None:
    a_programme(at=AT)
    path = tmp_path / "week.csv"
    path.write_text(FILE)
    with pytest.raises(CommandError, match="say there which column is which"):
        call_command("import_schedule", str(path))


@pytest.mark.usefixtures("said")
def test_s5_the_counts_add_up_with_blank_short_and_foreign_rows() -> None:
    data = f'{FILE}\n\nA3,x\nA4,"Ohm, Tore",1990-01-01,Knee,2027-03-25,ok\n'.encode()
    found = preview(data, day_first=None, at=AT)
    assert {verdict: count for verdict, count in found.counts.items() if count} == {
        Verdict.CREATED: 1,
        Verdict.REJECTED: 3,
    }
    assert [p.not_ours for p in found.of(Verdict.REJECTED)] == [True, False, False]


def test_a_name_that_is_not_ours_beside_a_code_that_is_contradicts(db: None) -> None:
    a_programme(at=AT)
    a_procedure()
    member = a_member(Role.COORDINATOR)
    file = 'MRN,Patient,DOB,Procedure,Procedure code,Date\nA1,"S, A",1980-02-03,Hernia,SLV,\n'
    table = preview(file.encode(), day_first=None, at=AT).table
    say_words(
        table,
        plans={},
        procedures={"hernia": None},
        unsaid=[],
        day_first=None,
        at=AT,
        by_id=member.pk,
    )
    (row,) = preview(file.encode(), day_first=None, at=AT).proposals
    assert [str(problem.reason) for problem in row.problems] == ["procedure_contradicts"]
