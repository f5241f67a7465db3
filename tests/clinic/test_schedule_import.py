"""The import's page: what it shows, that it applies once, and only what was shown."""

import re
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from typing import TYPE_CHECKING

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.urls import reverse

from clinic.models import Role, ScheduleImport, ScheduleUpload, StaffUser
from patients import schedule
from patients.clock import now
from patients.models import Operation, Patient
from tests.factories import a_procedure, a_programme

if TYPE_CHECKING:
    from django.test.client import _MonkeyPatchedWSGIResponse as Response

pytestmark = pytest.mark.django_db

HEADER = "MRN,Last Name,First Name,DOB,Case Number,Procedure,OR Date\n"
ANA = "A1,SILVA,ANA,1980-02-03,C-1,SLV,2027-03-25\n"
RUI = "B2,Quill,Rui,1975-06-07,C-2,SLV,2027-02-31\n"
IMPORT = "/schedule/import/"


@pytest.fixture
def coordinator(client: Client) -> Client:
    """A client signed in as the coordinator, in a programme with one procedure."""
    a_programme()
    a_procedure()
    client.force_login(member(Role.COORDINATOR))
    return client


def member(role: Role) -> StaffUser:
    return StaffUser.objects.create_user(f"{role}@larkfield.example", "Imke Rasmussen", role, "x")


def page(response: "Response") -> str:
    """Return the page's text with white space made plain."""
    return re.sub(r"\s+", " ", response.content.decode())


def hidden(response: "Response", name: str) -> str:
    found = re.search(rf'name="{name}" value="([^"]*)"', response.content.decode())
    assert found, f"no {name} on the page"
    return found[1]


def upload(client: Client, content: bytes | str, name: str = "week.csv") -> "Response":
    key = hidden(client.get(IMPORT), "act_key")
    data = content.encode() if isinstance(content, str) else content
    return client.post(IMPORT, {"act_key": key, "file": SimpleUploadedFile(name, data)})


def previewed(client: Client, content: str, dates: str = "") -> "tuple[str, Response]":
    """Upload a file; return the address of its preview, and the preview."""
    address = upload(client, content)["Location"] + (f"?dates={dates}" if dates else "")
    return address, client.get(address)


def applied(client: Client, address: str, shown: "Response") -> "Response":
    form = {name: hidden(shown, name) for name in ("act_key", "shown")}
    return client.post(address, form)


def test_from_the_file_to_the_record(coordinator: Client) -> None:
    address, shown = previewed(coordinator, HEADER + ANA + RUI)
    assert not Patient.objects.exists(), "a preview writes nothing"
    text = page(shown)
    assert "2 rows in the file:" in text
    assert "1 created" in text
    assert "1 rejected" in text
    assert "There is no such day: 2027-02-31." in text
    assert "it is stored as Ana Silva" in text
    assert "Apply this 1 change" in text
    after = applied(coordinator, address, shown)
    assert (after.status_code, after["Location"]) == (302, address)
    assert Operation.objects.get().or_date == date(2027, 3, 25)
    done = page(coordinator.get(address))
    assert "Imported" in done
    assert "1 created" in done, "what was done, not what the file would do now"
    assert "There is no such day" in done
    assert 'name="shown"' not in done


def test_the_rejected_rows_come_as_a_file(coordinator: Client) -> None:
    address, _ = previewed(coordinator, HEADER + ANA + RUI)
    response = coordinator.get(f"{address}rejected.csv")
    assert response["Content-Type"].startswith("text/csv")
    assert "attachment" in response["Content-Disposition"]
    text = response.content.decode("utf-8-sig")
    assert text.startswith("Rejected line,Rejected column,")
    assert "Quill" in text
    assert "SILVA" not in text
    fixed = text.replace("SLV,2027-02-31", "SLV,2027-02-28")
    again, shown = previewed(coordinator, fixed)
    applied(coordinator, again, shown)
    assert Patient.objects.get().mrn == "B2"


def test_ambiguous_dates_force_a_choice_before_anything_can_be_applied(
    coordinator: Client,
) -> None:
    content = HEADER + ANA + RUI.replace("2027-02-31", "03/04/2027")
    address, shown = previewed(coordinator, content)
    assert "does the day or the month come first?" in page(shown)
    assert 'name="shown"' not in page(shown)
    chosen = coordinator.get(f"{address}?dates=day-first")
    assert "2 created" in page(chosen)
    applied(coordinator, f"{address}?dates=day-first", chosen)
    assert Operation.objects.get(case_number="C-2").or_date == date(2027, 4, 3)


def test_moved_dates_come_before_other_changes(coordinator: Client) -> None:
    address, shown = previewed(coordinator, HEADER + ANA)
    applied(coordinator, address, shown)
    both = HEADER + ANA.replace("03-25", "04-08") + RUI.replace("02-31", "02-28")
    text = page(previewed(coordinator, both)[1])
    assert text.index("OR date 25 March 2027 → 8 April 2027") < text.index("new patient")


def test_a_form_sent_twice_applies_once(coordinator: Client) -> None:
    address, shown = previewed(coordinator, HEADER + ANA)
    first = applied(coordinator, address, shown)
    second = applied(coordinator, address, shown)
    assert first["Location"] == second["Location"]
    assert (ScheduleImport.objects.count(), Patient.objects.count()) == (1, 1)


def test_two_pages_of_one_file_apply_it_once(coordinator: Client) -> None:
    address, one = previewed(coordinator, HEADER + ANA)
    other = coordinator.get(address)
    applied(coordinator, address, one)
    assert applied(coordinator, address, other)["Location"] == address
    assert (ScheduleImport.objects.count(), Operation.objects.get().version) == (1, 1)


@pytest.mark.django_db(transaction=True)
def test_equal_forms_in_parallel_apply_once(coordinator: Client) -> None:
    address, shown = previewed(coordinator, HEADER + ANA)
    form = {name: hidden(shown, name) for name in ("act_key", "shown")}
    cookie = coordinator.cookies["sessionid"].value

    def send(_: int) -> int:
        one = Client()
        one.cookies["sessionid"] = cookie
        try:
            return one.post(address, form).status_code
        finally:
            connection.close()

    with ThreadPoolExecutor(8) as threads:
        assert set(threads.map(send, range(8))) == {302}
    assert (ScheduleImport.objects.count(), Patient.objects.count()) == (1, 1)


def test_a_record_that_changed_meanwhile_is_shown_again_not_written_over(
    coordinator: Client,
) -> None:
    address, shown = previewed(coordinator, HEADER + ANA)
    applied(coordinator, address, shown)
    address, shown = previewed(coordinator, HEADER + ANA.replace("03-25", "04-08"))
    schedule.move(Operation.objects.get(), date(2027, 5, 6), at=now())
    refused = applied(coordinator, address, shown)
    assert refused.status_code == 409
    text = page(refused)
    assert "Nothing was written: the record changed" in text
    assert "OR date 6 May 2027 → 8 April 2027" in text
    assert "Changed on record since." in text
    assert Operation.objects.get().or_date == date(2027, 5, 6)
    applied(coordinator, address, refused)
    assert Operation.objects.get().or_date == date(2027, 4, 8), "looked at again, then applied"


REFUSED = [
    (b"PK\x03\x04 [Content_Types].xml", "schedule.csv", "spreadsheet workbook"),
    (b"PK\x03\x04 ../../etc/passwd", "schedule.zip", "packed archive"),
    (b"%PDF-1.7", "schedule.csv", "This is a PDF"),
    (b"<!DOCTYPE x [<!ENTITY a 'b'>]>", "schedule.csv", "document or web page"),
    (b"", "empty.csv", "The file is empty."),
    (b"Name,Ward\nx,y\n", "schedule.csv", "These columns are needed and were not found: MRN;"),
]


@pytest.mark.parametrize("content, name, words", REFUSED)
def test_other_files_are_refused_in_words(
    coordinator: Client, content: bytes, name: str, words: str
) -> None:
    response = upload(coordinator, content, name)
    assert response.status_code == 422
    assert words in page(response)
    assert not ScheduleUpload.objects.exists()


def test_no_file_at_all(coordinator: Client) -> None:
    key = hidden(coordinator.get(IMPORT), "act_key")
    response = coordinator.post(IMPORT, {"act_key": key})
    assert (response.status_code, "Choose the file first." in page(response)) == (422, True)


def test_fault_27_markup_is_shown_as_text(coordinator: Client) -> None:
    _, shown = previewed(coordinator, HEADER + ANA.replace("SILVA", "<script>x</script>"))
    assert "<script>" not in page(shown)
    assert "&lt;script&gt;x" in page(shown)


def test_a_long_list_is_shown_in_part_and_paged_in_whole(coordinator: Client) -> None:
    rows = "".join(f"M{n},Silva{n},Ana,1980-02-03,C-{n},SLV,2027-03-25\n" for n in range(130))
    address, shown = previewed(coordinator, HEADER + rows)
    assert shown.content.count(b"new patient") == 25
    assert "All 130 rows" in page(shown)
    last = coordinator.get(f"{address}?show=created&page=2")
    assert last.content.count(b"new patient") == 30


def test_a_file_that_nobody_imported_is_forgotten_after_a_day(coordinator: Client) -> None:
    previewed(coordinator, HEADER + ANA)
    ScheduleUpload.objects.update(recorded_at=now() - timedelta(hours=25))
    address, shown = previewed(coordinator, HEADER + ANA)
    assert ScheduleUpload.objects.count() == 1
    applied(coordinator, address, shown)
    ScheduleUpload.objects.update(recorded_at=now() - timedelta(hours=25))
    previewed(coordinator, HEADER + ANA)
    assert ScheduleUpload.objects.count() == 2, "what was imported stays as evidence"


@pytest.mark.parametrize("role", list(Role))
def test_who_may_import(client: Client, role: Role) -> None:
    a_programme()
    client.force_login(member(role))
    allowed = role in {Role.DIETITIAN, Role.COORDINATOR, Role.ADMINISTRATOR}
    assert client.get(reverse("schedule-import")).status_code == (200 if allowed else 403)
    for name in ("schedule-preview", "schedule-rejected"):
        response = client.get(reverse(name, args=[999]))
        assert response.status_code == (404 if allowed else 403)
