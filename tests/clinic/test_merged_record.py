"""A record that was merged: its page, its history on the kept page, and where it is not listed."""

import re
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils.html import escape

from clinic.models import StaffUser
from clinic.once import new_key
from clinic.search import find_operations, find_patients
from education.clear import clear_by_teach_back, revoke, sign_off
from education.models import Assignment, Clearance
from patients import keep_apart, other_names
from patients.clock import local_date, now
from patients.contact import log_contact
from patients.merge import merge, undo_merge
from patients.models import Contact, Means, Merge, Outcome, Patient
from patients.programme import current
from patients.register import correct
from patients.rules.identity import NameKind
from tests.factories import (
    a_member,
    a_patient,
    a_programme,
    an_assignment,
    an_edition,
    an_operation,
    days_ago,
    signed_in,
)

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)
SPEAKS = "This record speaks for another one too"


@dataclass
class Two:
    """Two records of one person, each with an operation, from forty days ago on."""

    kept: Patient
    merged: Patient
    here: Assignment
    there: Assignment
    by: StaffUser

    def merge(self, days_ago: int = 5) -> Merge:
        at = now() - days_ago * DAY
        return merge(self.kept, self.merged, reason="Asked her.", at=at, by_id=self.by.pk)

    def undo(self, done: Merge, days_ago: int = 2) -> None:
        undo_merge(done, reason="A neighbour.", at=now() - days_ago * DAY, by_id=self.by.pk)

    def teach(self, days_ago: int, *, record: Patient | None = None) -> Clearance:
        at, module = now() - days_ago * DAY, self.there.module
        whose = record or self.merged
        return clear_by_teach_back(whose, module, at=at, by_id=self.by.pk, note="her own words")


@pytest.fixture
def two() -> Two:
    at = days_ago(40)
    a_programme(at=at - DAY)
    edition = an_edition(at=at)
    kept = a_patient(at=at, mrn="TF-57", given_names="Ottoline", family_names="Pemberwick")
    merged = a_patient(
        at=at,
        mrn="TF-65",
        given_names="Ottilie",
        family_names="Quennell",
        birth_date=kept.birth_date,
    )
    here, there = (
        an_assignment(
            operation=an_operation(patient=record, at=at, days_ahead=60, facility=facility),
            module=edition.module,
            at=at,
        )
        for record, facility in ((kept, "East Wing"), (merged, "West Wing"))
    )
    return Two(kept, merged, here, there, a_member("clinician", name="Imogen Tallis"))


@pytest.fixture
def client(two: Two) -> Client:
    return signed_in(two.by)


def address(patient: Patient, days_ago: int | None = None) -> str:
    on = ""
    if days_ago is not None:
        on = f"?on={local_date(now() - days_ago * DAY, current().zone).isoformat()}"
    return reverse("patient", args=[patient.pk]) + on


def page(client: Client, patient: Patient, days_ago: int | None = None, **how: Any) -> str:
    response = client.get(address(patient, days_ago), **how)
    assert response.status_code == 200
    return str(response.content.decode())


# --- the merged record's page --------------------------------------------------------------------


def test_the_page_that_was_open_corrects_nothing_and_logs_for_who_speaks(
    two: Two, client: Client
) -> None:
    two.merge()
    kept = reverse("patient", args=[two.kept.pk])
    answer = client.post(
        reverse("correct-patient", args=[two.merged.pk]),
        {"act_key": new_key(), "mrn": "X", "given_names": "X", "source": "x"},
        follow=True,
    )
    assert answer.redirect_chain == [(kept, 302)]
    assert "Nothing was corrected. MRN TF-65 was merged" in answer.content.decode()
    assert not Patient.objects.filter(mrn="X").exists()
    assert "Ottoline Pemberwick" in page(client, two.merged, follow=True)
    client.post(
        reverse("log-contact", args=[two.merged.pk]),
        {"act_key": new_key(), "means": "call", "outcome": "no_answer"},
    )
    assert Contact.objects.get().patient == two.kept


def test_the_merged_records_page_leads_to_who_speaks_for_it(two: Two, client: Client) -> None:
    two.merge()
    response = client.get(address(two.merged))
    assert response["Location"] == address(two.kept)
    shown = page(client, two.merged, follow=True)
    assert "MRN TF-65 was merged into this record." in shown
    assert "Ottoline Pemberwick</h1>" in shown
    assert SPEAKS in shown


def test_it_leads_all_the_way_when_the_kept_one_was_merged_further(
    two: Two, client: Client
) -> None:
    two.merge()
    third = a_patient(mrn="TF-99", given_names="Otti", family_names="Pemberwick")
    merge(third, two.kept, reason="She too.", at=now(), by_id=two.by.pk)
    for record in (two.merged, two.kept):
        assert client.get(address(record))["Location"] == address(third)


def test_each_past_day_is_asked_of_who_spoke_for_it_then(two: Two, client: Client) -> None:
    """Promise C5 on the page, with records and operations as they were on that day."""
    two.undo(two.merge(days_ago=8), days_ago=4)
    for before_or_after in (10, 2):
        kept, merged = (page(client, one, before_or_after) for one in (two.kept, two.merged))
        assert ("East Wing" in kept, "West Wing" in kept) == (True, False)
        assert ("East Wing" in merged, "West Wing" in merged) == (False, True)
    between = page(client, two.kept, 6)
    assert "East Wing" in between
    assert "West Wing" in between
    assert client.get(address(two.merged, 6))["Location"] == address(two.kept, 6)
    assert page(client, two.merged).count("merge undone") == 1


# --- both histories on the kept page -------------------------------------------------------------


def test_the_kept_page_shows_both_histories(two: Two, client: Client) -> None:
    by, at = two.by.pk, now() - 20 * DAY
    correct(two.merged, at=at, source="front desk", by_id=by, phone="312 555 0177")
    other_names.add(
        two.merged,
        kind=NameKind.FORMER,
        given_names="Ottilie",
        family_names="Brask",
        at=at,
        source="front desk",
        by_id=by,
    )
    log_contact(
        two.merged, means=Means.CALL, outcome=Outcome.REACHED, at=at, by_id=by, note="Rang back"
    )
    two.teach(10)
    two.merge()
    shown = page(client, two.kept)
    for words in (
        "the record with MRN TF-65",
        "312 555 0177",
        "formerly Ottilie Brask; the record with MRN TF-65",
        "reached; the record with MRN TF-65. Rang back",
        "proposed; the record with MRN TF-65",  # the operation, when it was booked
        "East Wing",
        "West Wing",
        "records merged",
        "Ottilie Quennell, MRN TF-65, went into Ottoline Pemberwick, MRN TF-57; "
        "1 operation moved. Reason: Asked her.",
        "her own words; the record with MRN TF-65",
        "clearance carried over by a merge",
        "from MRN TF-65",
    ):
        assert words in shown, words
    assert shown.count("<b>cleared</b>") == 1, "the evidence is one"
    assert shown.count("<b>enrolled</b>") == 2


def test_after_undoing_each_has_its_own_history_and_both_say_what_happened(
    two: Two, client: Client
) -> None:
    two.teach(10)
    two.undo(two.merge())
    kept, merged = page(client, two.kept), page(client, two.merged)
    for shown in (kept, merged):
        assert "records merged" in shown
        assert "are two patients again. Reason: A neighbour." in shown
        assert shown.count("<b>enrolled</b>") == 1
        assert SPEAKS not in shown
    assert "The merge that brought it here was undone: A neighbour." in kept
    assert "clearance revoked" not in merged
    assert merged.count("<b>cleared</b>") == 1


def test_what_is_revoked_on_both_records_is_said_once(two: Two, client: Client) -> None:
    clearance = two.teach(10)
    two.merge()
    revoke(clearance, reason="Her sister.", at=now() - DAY, by_id=two.by.pk)
    assert page(client, two.kept).count("<b>clearance revoked</b>") == 1


def test_a_sign_off_that_a_merge_carried_along_is_said_once(two: Two, client: Client) -> None:
    two.teach(-15)  # after the clear-by date, before the operation, whatever the clocks do
    late = now() + 16 * DAY
    sign_off(two.there, reason="Heard it.", at=late, by_id=two.by.pk)
    merge(two.kept, two.merged, reason="Asked.", at=late + DAY, by_id=two.by.pk)
    assert page(client, two.kept).count("<b>signed off</b>") == 1


def test_kept_apart_is_told_on_the_page_that_speaks_for_the_record(
    two: Two, client: Client
) -> None:
    sister = a_patient(mrn="TF-70", given_names="Odile", family_names="Quennell")
    keep_apart.keep_apart(two.merged, sister, note="Sisters.", at=now(), by_id=two.by.pk)
    two.merge(days_ago=0)
    shown = page(client, two.kept)
    assert "kept apart from another record" in shown
    assert "Odile Quennell, MRN TF-70. Sisters." in shown


def test_every_record_of_a_chain_is_named(two: Two, client: Client) -> None:
    third = a_patient(mrn="TF-71", given_names="Ottilie", family_names="Pemberwick")
    merge(two.merged, third, reason="The same.", at=now() - DAY, by_id=two.by.pk)
    merge(two.kept, two.merged, reason="The same again.", at=now(), by_id=two.by.pk)
    shown = " ".join(re.sub(r"<[^>]+>", "", page(client, two.kept)).split())
    assert f"{SPEAKS}: Ottilie Quennell, MRN TF-65, was merged into it by" in shown
    assert f"{SPEAKS}: Ottilie Pemberwick, MRN TF-71, was merged into MRN TF-65 by" in shown


def test_a_second_merge_costs_the_page_no_query_more(two: Two, client: Client) -> None:
    two.merge()
    page(client, two.kept)  # the first page of a session writes when it was last seen
    with CaptureQueriesContext(connection) as once:
        page(client, two.kept)
    third = a_patient(mrn="TF-71", given_names="Ottilie", family_names="Pemberwick")
    merge(two.kept, third, reason="The same again.", at=now(), by_id=two.by.pk)
    with CaptureQueriesContext(connection) as twice:
        page(client, two.kept)
    assert len(twice) == len(once)


# --- lists and searches --------------------------------------------------------------------------


@pytest.mark.parametrize("asked", ["TF-65", "tf-6", "Quennell", "ottilie quennell", "TF-57"])
def test_a_search_by_either_record_finds_the_kept_patient_alone(two: Two, asked: str) -> None:
    two.merge()
    found = find_operations(asked)
    assert {one.patient for one in found.operations} == {two.kept}
    assert {one.pk for one in found.operations} == {
        two.here.operation_id,
        two.there.operation_id,
    }
    assert found.without_operation == [], "the merged record has none, and is nobody of its own"


def test_the_search_for_the_other_record_finds_no_merged_one(two: Two) -> None:
    two.merge()
    for asked in ("TF-65", "Quennell", "Pemberwick"):
        assert find_patients(asked) == [two.kept], asked


@pytest.mark.parametrize("asked", ["TF-65", "Quennell", "TF-57"])
def test_the_morning_list_is_searched_by_either_record(
    two: Two, client: Client, asked: str
) -> None:
    two.merge()
    shown = client.get("/morning/", {"q": asked, "standing": "every"}).content.decode()
    assert shown.count(escape(two.kept.full_name)) >= 2
    assert two.merged.full_name not in shown


def test_the_morning_list_counts_people_and_knows_the_merged_records_last_contact(
    two: Two, client: Client
) -> None:
    for record, days, note in (
        (two.kept, 9, Outcome.NO_ANSWER),
        (two.merged, 8, Outcome.REACHED),
    ):
        log_contact(record, means=Means.CALL, outcome=note, at=now() - days * DAY, by_id=two.by.pk)
    two.merge()
    shown = client.get("/morning/", {"standing": "every"}).content.decode().lower()
    assert "reached" in shown
    assert "no answer" not in shown, "the later one of both records is the last one"
