"""Saying which column is which and what words mean: once, remembered, and used without asking."""

import re
from datetime import date
from typing import TYPE_CHECKING

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from clinic.models import Role, ScheduleUpload
from patients.models import Booking, Operation, Patient, ScheduleReading
from tests.factories import a_member, a_procedure, a_programme, signed_in

if TYPE_CHECKING:
    from django.test.client import _MonkeyPatchedWSGIResponse as Response

pytestmark = pytest.mark.django_db

IMPORT = "/schedule/import/"
HEADINGS = "Chart,Nachname,Vorname,Geb.,Eingriff,Termin,Zustand"
ROWS = (
    "A1,Silva,Ana,1980-02-03,Sleeve (lap),2027-03-25,Angemeldet\n"
    "B2,Quill,Rui,1975-06-07,Sleeve (lap),2027-04-01,Wartet\n"
    "C3,Ohm,Tore,1960-01-02,Hernia repair,2027-03-25,Angemeldet\n"
)
FILE = f"{HEADINGS}\n{ROWS}"
COLUMNS = (
    "mrn",
    "family_names",
    "given_names",
    "birth_date",
    "procedure",
    "or_date",
    "status",
)


@pytest.fixture
def desk(db: None) -> Client:
    a_programme()
    a_procedure()
    return signed_in(a_member(Role.COORDINATOR, name="Imke Rasmussen"))


def page(response: "Response") -> str:
    return re.sub(r"\s+", " ", response.content.decode())


def hidden(response: "Response", name: str) -> str:
    found = re.search(rf'name="{name}" value="([^"]*)"', response.content.decode())
    assert found, f"no {name} on the page"
    return found[1]


def given(desk: Client, content: str, name: str = "week.csv") -> "Response":
    """Upload a file and follow to where that leads."""
    key = hidden(desk.get(IMPORT), "act_key")
    file = SimpleUploadedFile(name, content.encode())
    return desk.post(IMPORT, {"act_key": key, "file": file}, follow=True)


def columns_address() -> str:
    return f"{IMPORT}{ScheduleUpload.objects.latest('pk').pk}/columns/"


def said(desk: Client, columns: tuple[str, ...] = COLUMNS, header: int | None = None) -> "Response":
    """Fill in the columns' page and send it."""
    address = columns_address()
    shown = desk.get(address if header is None else f"{address}?header={header}")
    form = {f"column_{n}": column for n, column in enumerate(columns)}
    form |= {name: hidden(shown, name) for name in ("act_key", "header")}
    return desk.post(address, form, follow=True)


def words_said(desk: Client, meanings: dict[str, str]) -> "Response":
    """Fill in the words' page: what each word means, by the label beside the choice."""
    address = columns_address().replace("columns", "words")
    shown = desk.get(address)
    labels = re.findall(
        r'<label for="id_(\w+)">(?:<bdi>)?(.*?)(?:</bdi>)?</label>', shown.content.decode()
    )
    form = {name: meanings[label] for name, label in labels if label in meanings}
    assert len(form) == len(meanings), (labels, meanings)
    return desk.post(address, form | {"act_key": hidden(shown, "act_key")}, follow=True)


def test_unknown_headings_lead_to_the_columns_with_their_first_values(desk: Client) -> None:
    shown = given(desk, FILE)
    text = page(shown)
    assert shown.redirect_chain[-1][0] == columns_address()
    assert "Which column is which?" in text
    assert "Nachname" in text
    assert "Silva" in text
    assert not Patient.objects.exists()


def test_columns_words_and_then_the_same_headings_in_another_order_without_asking(
    desk: Client,
) -> None:
    given(desk, FILE)
    after = page(said(desk))
    assert "3 rows in the file" in after
    assert "3 rows hold a status or a procedure that is not known" in after
    meanings = {
        "Sleeve (lap)": str(a_procedure().pk),
        "Hernia repair": "none",
        "Angemeldet": "scheduled",
        "Wartet": "on_hold",
    }
    after = page(words_said(desk, meanings))
    assert "Read with the columns that Imke Rasmussen chose on" in after
    assert '<strong class="nowrap">2 created</strong>' in after
    assert '<strong class="nowrap">1 rejected</strong>' in after
    assert "“Hernia repair” is not one of our procedures." in after
    turned = "\n".join(",".join(reversed(line.split(","))) for line in FILE.splitlines())
    shown = given(desk, turned, "next.csv")
    assert "Read with the columns that Imke Rasmussen chose on" in page(shown)
    form = {name: hidden(shown, name) for name in ("act_key", "shown")}
    desk.post(shown.redirect_chain[-1][0], form)
    booked = Operation.objects.order_by("or_date").values_list("patient__mrn", "or_date", "booking")
    assert list(booked) == [
        ("A1", date(2027, 3, 25), Booking.PROPOSED),
        ("B2", date(2027, 4, 1), Booking.ON_HOLD),
    ]


def test_a_file_without_headings_and_the_same_system_next_week(desk: Client) -> None:
    rows = ROWS.replace("Sleeve (lap)", "SLV").replace("Angemeldet", "Scheduled")
    shown = page(given(desk, rows))
    assert "Column 1" in shown
    assert "Silva · Quill · Ohm" in re.sub("</?bdi>", "", shown)
    assert "no line: the rows begin at once" in shown
    assert "they are numbered" in page(said(desk))
    next_week = rows.replace("2027-03-25", "2027-03-26")
    assert "Read with the columns that" in page(given(desk, next_week, "next.csv"))
    # As many columns, and another system: its headings are no row.
    other = page(given(desk, FILE.replace("Chart", "Akte"), "other.csv"))
    assert "Which column is which?" in other


def test_the_rejected_rows_of_a_file_without_headings_come_back_and_import(desk: Client) -> None:
    rows = "A1,Silva,Ana,1980-02-03,SLV,2027-02-31,Scheduled\n"
    given(desk, rows)
    shown = said(desk)
    rejected = desk.get(f"{shown.redirect_chain[-1][0]}rejected.csv").content.decode("utf-8-sig")
    assert "Column 6" in rejected
    fixed = rejected.replace("SLV,2027-02-31", "SLV,2027-02-28")
    assert '<strong class="nowrap">1 created</strong>' in page(given(desk, fixed, "fixed.csv"))


def test_what_was_recognised_can_be_corrected(desk: Client) -> None:
    """The system's "Patient ID" is an inner number; the record number stands under "Chart"."""
    file = (
        "Patient ID,Chart,Patient,DOB,Procedure,Date\n"
        '77,A1,"Silva, Ana",1980-02-03,SLV,2027-03-25\n'
    )
    shown = page(given(desk, file))
    assert "The columns were recognised by their names." in shown
    assert "MRN <bdi>77</bdi>" in shown
    columns = ("", "mrn", "full_name", "birth_date", "procedure", "or_date")
    assert "MRN <bdi>A1</bdi>" in page(said(desk, columns))


def test_a_column_twice_or_missing_is_told_and_nothing_is_kept(desk: Client) -> None:
    given(desk, FILE)
    twice = said(desk, ("mrn", "mrn", *COLUMNS[2:]))
    assert twice.status_code == 422
    assert "“MRN” is chosen for “Chart” too." in page(twice)
    missing = said(desk, ("", *COLUMNS[1:]))
    assert "Say also which column is: MRN." in page(missing)
    assert not ScheduleReading.objects.exists()


def test_the_date_order_is_remembered_and_can_still_be_chosen_for_one_file(desk: Client) -> None:
    rows = ROWS.replace("2027-04-01", "04/05/2027").replace("Sleeve (lap)", "SLV")
    given(desk, f"{HEADINGS}\n{rows}")
    said(desk)
    words_said(
        desk,
        {"03/04/2027 in these files is": "day", "Angemeldet": "scheduled", "Wartet": "scheduled"},
    )
    shown = given(desk, f"{HEADINGS}\n{rows}", "next.csv")
    assert "with the <strong>day first</strong>" in page(shown)
    assert "OR date 4 May 2027" in page(shown)
    turned = desk.get(f"{shown.redirect_chain[-1][0]}?dates=month-first")
    assert "OR date 5 April 2027" in page(turned)


def test_each_saying_is_a_new_row_and_an_imported_file_is_read_as_it_was(desk: Client) -> None:
    given(desk, FILE.replace("Sleeve (lap)", "SLV"))
    said(desk)
    shown = words_said(desk, {"Hernia repair": "none", "Angemeldet": "scheduled"})
    address = shown.redirect_chain[-1][0]
    form = {name: hidden(shown, name) for name in ("act_key", "shown")}
    desk.post(address, form)
    assert "not one of our procedures" in page(desk.get(address))
    given(desk, FILE.replace("Sleeve (lap)", "SLV"), "next.csv")
    words_said(desk, {"Hernia repair": ""})
    assert ScheduleReading.objects.count() == 3
    assert "“Hernia repair” is not one of our procedures." in page(desk.get(address))
    assert desk.get(f"{address}columns/")["Location"] == address


def test_a_file_with_too_few_columns_is_refused_at_once(desk: Client) -> None:
    assert "These columns are needed and were not found" in page(given(desk, "a,b,c\n1,2,3\n"))
    assert not ScheduleUpload.objects.exists()


def test_fault_27_headings_with_markup_are_shown_as_text(desk: Client) -> None:
    text = page(given(desk, FILE.replace("Nachname", "<script>x</script>")))
    assert "<script>x" not in text
    assert "&lt;script&gt;x" in text
