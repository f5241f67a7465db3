"""Schedule messages as a file on the import's page: previewed, taken in once, the rest waits."""

import re
from collections.abc import Iterator
from datetime import date
from typing import TYPE_CHECKING

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from clinic.models import Role, ScheduleImport, ScheduleUpload
from patients import schedule
from patients.clock import now
from patients.models import IntakeMessage, IntakeStep, Operation
from tests.factories import a_procedure, a_programme, signed_in
from tests.fhir_bundles import TO_COME, a_bundle, a_patient, an_appointment

if TYPE_CHECKING:
    from django.test.client import _MonkeyPatchedWSGIResponse as Response

pytestmark = pytest.mark.django_db

IMPORT = "/schedule/import/"


@pytest.fixture(autouse=True)
def while_the_appointment_is_to_come() -> Iterator[None]:
    with time_machine.travel(TO_COME):
        yield


@pytest.fixture
def desk(db: None) -> Client:
    a_programme()
    a_procedure()
    return signed_in(Role.COORDINATOR)


def page(response: "Response") -> str:
    return re.sub(r"\s+", " ", response.content.decode())


def hidden(response: "Response", name: str) -> str:
    found = re.search(rf'name="{name}" value="([^"]*)"', response.content.decode())
    assert found, f"no {name} on the page"
    return found[1]


def given(desk: Client, content: bytes, name: str = "week.json") -> "Response":
    key = hidden(desk.get(IMPORT), "act_key")
    file = SimpleUploadedFile(name, content)
    return desk.post(IMPORT, {"act_key": key, "file": file}, follow=True)


def a_week(**changed: object) -> bytes:
    """One that is right, and one that contradicts itself."""
    first = an_appointment(id="a2", identifier=[{"value": "CASE-2"}])
    second = an_appointment(id="a3", identifier=[{"value": "CASE-2"}], start="2027-03-28T14:00:00Z")
    return a_bundle(a_patient(), an_appointment(**changed), first, second)


def test_a_bundle_is_previewed_then_taken_in_and_the_rest_waits(desk: Client) -> None:
    shown = given(desk, a_week())
    text = page(shown)
    assert "2 messages in the file:" in text
    assert '<strong class="nowrap">1 created</strong>' in text
    assert '<strong class="nowrap">1 rejected</strong>' in text
    assert "two different dates" in text
    assert "new operation: Sleeve gastrectomy, OR date 25 March 2027" in text
    assert not IntakeMessage.objects.exists(), "a preview writes nothing"
    address = shown.redirect_chain[-1][0]
    form = {name: hidden(shown, name) for name in ("act_key", "shown")}
    done = page(desk.post(address, form, follow=True))
    assert "Applied" in done
    assert '<strong class="nowrap">1 created</strong>' in done
    assert Operation.objects.get().or_date == date(2027, 3, 25)
    assert IntakeStep.objects.waiting().count() == 1
    desk.post(address, form)
    assert ScheduleImport.objects.count() == 1


def test_what_changed_since_it_was_shown_is_shown_again(desk: Client) -> None:
    shown = given(desk, a_bundle(a_patient(), an_appointment()))
    form = {name: hidden(shown, name) for name in ("act_key", "shown")}
    desk.post(shown.redirect_chain[-1][0], form)
    again = a_bundle(
        a_patient(),
        an_appointment(start="2027-04-01T14:00:00Z"),
        identifier={"value": "B-2"},
        timestamp="2026-11-24T11:00:00Z",
    )
    shown = given(desk, again)
    form = {name: hidden(shown, name) for name in ("act_key", "shown")}
    schedule.move(Operation.objects.get(), date(2027, 5, 6), at=now())
    refused = desk.post(shown.redirect_chain[-1][0], form)
    assert refused.status_code == 409
    assert "Nothing was written" in page(refused)
    assert Operation.objects.get().or_date == date(2027, 5, 6)


REFUSED = [
    (b'<?xml version="1.0"?><Bundle/>', "in XML; JSON is read"),
    (b'{"resourceType": "Bundle"', "no JSON object, or a broken one"),
    (b'{"resourceType": "Bundle", "type": "collection"}', "no Appointment and no ServiceRequest"),
    (b'{"a": 1, "a": 2}', "one name stands for two things"),
]


@pytest.mark.parametrize("content, words", REFUSED)
def test_t5_what_is_no_bundle_is_refused_in_words(desk: Client, content: bytes, words: str) -> None:
    assert words in page(given(desk, content))
    assert not ScheduleUpload.objects.exists()


def test_a_csv_file_whose_heading_begins_like_a_message_is_a_csv_file(desk: Client) -> None:
    file = (
        b'MSH number,MRN,Patient,DOB,Procedure,Date\n1,A1,"Silva, Ana",1980-02-03,SLV,2027-03-25\n'
    )
    assert "1 row in the file" in page(given(desk, file, "week.csv"))


def test_fault_27_markup_in_a_message_is_shown_as_text(desk: Client) -> None:
    patient = a_patient(name=[{"family": "<script>x</script>", "given": ["Ana"]}])
    text = page(given(desk, a_bundle(patient, an_appointment())))
    assert "<script>x" not in text
    assert "&lt;script&gt;x" in text
