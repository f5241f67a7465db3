"""Downloading a clearance record: by whom, of which day, and what stands in the trail."""

import json
from copy import deepcopy
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse

from clinic.evidence import as_csv
from clinic.models import TrailEntry
from patients import programme
from patients.clock import now
from patients.merge import merge
from tests.clinic.evidence.a_record import Story, a_story
from tests.factories import a_member, a_patient, signed_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("told")]
FORMS = {"pdf": b"%PDF-", "csv": b"\xef\xbb\xbfkind,", "fhir": b"{"}


@pytest.fixture(scope="module")
def told(kept_open: None) -> Story:
    return a_story(mrn="MRN 7/8")


@pytest.fixture
def story(told: Story) -> Story:
    return deepcopy(told)


@pytest.mark.parametrize("form", FORMS)
def test_each_form_is_a_file_that_no_cache_keeps_and_the_trail_tells(
    story: Story, form: str
) -> None:
    client = signed_in("auditor")
    page = client.get(reverse("patient", args=[story.patient.pk])).content.decode()
    address = reverse(f"clearance-record-{form}", args=[story.patient.pk])
    assert f'href="{address}"' in page
    response = client.get(address)
    assert response.status_code == 200
    assert response.content.startswith(FORMS[form])
    assert "no-store" in response["Cache-Control"]
    assert 'attachment; filename="clearance-record-MRN-7-8-' in response["Content-Disposition"]
    assert story.patient.family_names not in response["Content-Disposition"]
    entry = TrailEntry.objects.latest("id")
    assert (entry.act, entry.patient_id) == (f"GET clearance-record-{form}", story.patient.pk)


def test_a_past_day_is_asked_for_from_the_page_that_shows_it(story: Story) -> None:
    client = signed_in("dietitian")
    on = programme.local_day(story.day(3)).isoformat()
    page = client.get(reverse("patient", args=[story.patient.pk]) + f"?on={on}").content.decode()
    address = reverse("clearance-record-csv", args=[story.patient.pk]) + f"?on={on}"
    assert f'href="{address}"' in page
    rows = as_csv.read(client.get(address).content)
    assert rows[0].what == "as it stood"
    assert rows[0].day == on
    assert [row.what for row in rows if row.kind == "quiz"] == ["failed"]


@pytest.mark.parametrize("day", ["31-12-2026", "2026-02-31", "1999-01-01"])
def test_a_day_that_cannot_be_shown_leads_to_the_page_that_says_so(story: Story, day: str) -> None:
    client = signed_in("dietitian")
    address = reverse("clearance-record-pdf", args=[story.patient.pk]) + f"?on={day}"
    response = client.get(address, follow=True)
    assert response.redirect_chain[-1][0].startswith(reverse("patient", args=[story.patient.pk]))
    assert 'role="alert"' in response.content.decode()


def test_a_merged_record_speaks_through_the_kept_one(story: Story) -> None:
    other = a_patient(at=story.day(1))
    merge(story.patient, other, reason="one", at=now(), by_id=a_member("clinician").pk)
    client = signed_in("dietitian")
    response = client.get(reverse("clearance-record-fhir", args=[other.pk]), follow=True)
    bundle = json.loads(response.content)
    patient = bundle["entry"][0]["resource"]
    assert [one["value"] for one in patient["identifier"]] == [story.patient.mrn, other.mrn]


@pytest.mark.parametrize("form", FORMS)
def test_the_command_writes_the_same_file_and_is_in_the_trail(
    story: Story, form: str, tmp_path: Path
) -> None:
    out = tmp_path / "record"
    call_command("clearance_record", " mrn 7/8", "--format", form, "--out", str(out))
    assert out.read_bytes().startswith(FORMS[form])
    entry = TrailEntry.objects.latest("id")
    assert (entry.act, entry.patient_id) == ("clearance_record", story.patient.pk)


def test_the_command_says_what_is_wrong(story: Story, tmp_path: Path) -> None:
    before = (story.begun - timedelta(days=9)).date().isoformat()
    for wrong, said in (
        (["nobody", "--out", str(tmp_path / "x")], "Nobody on the register"),
        (["MRN 7/8", "--on", before, "--out", str(tmp_path / "x")], "Not on the register on"),
        (["MRN 7/8", "--out", str(tmp_path / "no" / "x")], "cannot be written"),
    ):
        with pytest.raises(CommandError, match=said):
            call_command("clearance_record", *wrong)
