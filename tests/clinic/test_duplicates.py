"""Records that may be one person: the pairs, two people kept apart, merges and their undoing."""

from datetime import date, timedelta
from functools import partial
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.models import Role, StaffUser, TrailEntry
from clinic.once import new_key
from education.clear import clear_by_teach_back
from education.identify import not_a_patient
from education.models import Invitation
from education.personal_link import LinkState, open_link
from patients import keep_apart, other_names
from patients.clock import now
from patients.contact import log_contact
from patients.duplicates import compare_waiting
from patients.merge import merge, undo_merge
from patients.models import (
    KeptApart,
    LikelyDuplicate,
    Means,
    Merge,
    MergeUndone,
    Operation,
    Outcome,
    Patient,
)
from patients.register import correct
from patients.rules.identity import NameKind
from tests.clinic.test_morning import failing_at
from tests.factories import (
    a_member,
    a_patient,
    a_procedure,
    a_programme,
    a_submission,
    an_assignment,
    an_invitation,
    an_operation,
    signed_in,
)
from tests.rendered_forms import form_to

pytestmark = pytest.mark.django_db

BORN = date(1984, 6, 3)
ADDRESS = "/patients/duplicates/"
NOTHING_FOUND = "No two records look like one person"
STILL = "Still being compared"


@pytest.fixture
def dietitian() -> StaffUser:
    a_programme()
    return a_member(Role.DIETITIAN, name="Imogen Tallis")


@pytest.fixture
def client(dietitian: StaffUser) -> Client:
    return signed_in(dietitian)


def ottoline(family: str = "Pemberwick", **facts: Any) -> Patient:
    facts = {"given_names": "Ottoline", "birth_date": BORN, **facts}
    return a_patient(family_names=family, **facts)


def a_pair() -> tuple[Patient, Patient]:
    """Two records of one person, found by the engine."""
    one, other = ottoline(mrn="TF-57"), ottoline("Pemberwyck", mrn="TF-65")
    compared()
    return one, other


def compared() -> None:
    assert compare_waiting(at=now())


def text(response: Any, status: int = 200) -> str:
    assert response.status_code == status
    return str(response.content.decode())


def page(client: Client, query: str = "") -> str:
    return text(client.get(ADDRESS + query))


def merge_page(one: Patient, other: Patient) -> str:
    return reverse("merge", args=[one.pk, other.pk])


def merge_form(client: Client, one: Patient, other: Patient, query: str = "") -> dict[str, str]:
    address = merge_page(one, other)
    return form_to(client.get(address + query), address)


def merged(client: Client, one: Patient, other: Patient, query: str = "", **typed: str) -> Any:
    """Fill in the form of the merge page and send it."""
    sent = merge_form(client, one, other, query) | {"reason": "Asked her: one and the same."}
    return client.post(merge_page(one, other), sent | typed)


# --- the page ------------------------------------------------------------------------------------


def test_a_pair_stands_side_by_side_with_what_agrees_and_differs(client: Client) -> None:
    one, other = ottoline(mrn="TF-57", phone="303 555-0157"), ottoline("Pemberwyck", mrn="TF-65")
    correct(other, at=now(), source="x", phone="(303) 5550157", email="else@example.org")
    other_names.add(
        one, kind=NameKind.PREFERRED, given_names="Otti", family_names="Pemberwick", at=now(),
        by_id=None, source="told us",
    )  # fmt: skip
    operation = an_operation(patient=one)
    compared()
    shown = page(client)
    assert "1 pair." in shown
    assert "Date of birth equal; given name equal; <b>family name one letter off</b>." in shown
    for words in ("TF-57", "TF-65", "prefers Otti Pemberwick", "3 June 1984", "else@example.org"):
        assert words in shown
    assert operation.procedure.name in shown
    assert STILL not in shown
    rows = dict(_rows(shown))
    assert rows["Name"].endswith("differs")
    assert rows["Date of birth"].endswith("same")
    assert rows["Phone"].endswith("same"), "whatever the spaces and brackets"
    assert rows["Email"].endswith("differs")
    assert "MRN" in shown
    assert merge_page(one, other) in shown


def _rows(shown: str) -> list[tuple[str, str]]:
    """The label and the last words of each row of the comparison."""
    rows = shown.split('<th scope="row">')[1:]
    return [(row.split("</th>")[0], _last_words(row.split("</tr>")[0])) for row in rows]


def _last_words(row: str) -> str:
    return row.rsplit("</td>", 1)[0].replace("</b>", "").strip()


def test_the_empty_states_are_told_apart(client: Client) -> None:
    assert "Nobody is on the register yet" in page(client)
    a_patient(), a_patient()
    waiting = page(client)
    assert f"{STILL}: 2 records wait" in waiting
    assert NOTHING_FOUND not in waiting
    compared()
    assert f"{NOTHING_FOUND}. All 2 have been compared" in page(client)


def test_a_failing_database_never_shows_an_empty_list(client: Client) -> None:
    """Promise S2: whichever query fails."""
    a_patient()
    compared()
    page(client)
    with CaptureQueriesContext(connection) as asked:
        assert NOTHING_FOUND in page(client)
    client.raise_request_exception = False
    for number in range(len(asked)):
        response = failing_at(number, partial(client.get, ADDRESS))
        shown = response.content.decode()
        assert response.status_code == 503, number
        for lie in (NOTHING_FOUND, "Nobody is on", "Nothing was merged", "No pair is kept apart"):
            assert lie not in shown, (number, lie)


def test_twenty_pairs_a_page_the_strongest_first(client: Client) -> None:
    patients = [a_patient() for _ in range(46)]
    LikelyDuplicate.objects.bulk_create(
        LikelyDuplicate(one=patients[2 * n], other=patients[2 * n + 1], weight=n, recorded_at=now())
        for n in range(23)
    )
    Patient.objects.update(compare_with_register=False)
    first, second = page(client), page(client, "?page=2")
    assert "23 pairs, the strongest first" in first
    assert first.count('class="pair"') == 20
    assert second.count('class="pair"') == 3
    assert first.index(patients[45].mrn) < first.index(patients[43].mrn)
    assert patients[0].mrn in second
    assert "Next 20" in first


def test_the_number_of_queries_does_not_grow_with_the_pairs(client: Client) -> None:
    a_pair()
    page(client)
    with CaptureQueriesContext(connection) as few:
        page(client)
    for number in range(4):
        ottoline(f"Pemberwick{number}", birth_date=BORN)
    compared()
    assert LikelyDuplicate.objects.count() > 4
    with CaptureQueriesContext(connection) as many:
        page(client)
    assert len(many) == len(few)


@pytest.mark.parametrize("role", [Role.COORDINATOR, Role.AUDITOR])
def test_readers_read_and_decide_nothing(client: Client, role: Role) -> None:
    one, other = a_pair()
    kept = keep_apart.keep_apart(a_patient(), a_patient(), at=now(), by_id=a_member("dietitian").pk)
    shown = page(signed_in(role))
    assert one.mrn in shown
    assert other.mrn in shown
    assert merge_page(one, other) not in shown
    assert reverse("end-kept-apart", args=[kept.pk]) not in shown
    assert "A dietitian, a clinician or the administrator decides." in shown


# --- two people ----------------------------------------------------------------------------------


def test_two_people_are_kept_apart_and_that_is_taken_back(client: Client) -> None:
    one, other = a_pair()
    address = reverse("keep-apart", args=[one.pk, other.pk])
    sent = form_to(client.get(ADDRESS), address) | {"note": "Twins: both were here."}
    for _ in range(2):  # a double tap
        assert client.post(address, sent).status_code == 302
    kept = KeptApart.objects.get()
    assert (kept.one, kept.other, kept.note) == (one, other, "Twins: both were here.")
    shown = page(client)
    assert 'class="pair"' not in shown
    assert "Kept apart as two people: Ottoline Pemberwick" in shown
    assert "Twins: both were here." in shown
    assert "Imogen Tallis" in shown
    back = reverse("end-kept-apart", args=[kept.pk])
    assert client.post(back, form_to(client.get(ADDRESS), back)).status_code == 302
    shown = page(client)
    assert 'class="pair"' in shown
    assert "No pair is kept apart." in shown
    history = text(client.get(reverse("patient", args=[other.pk])))
    assert "kept apart from another record" in history
    assert "Ottoline Pemberwick, MRN TF-57. Twins: both were here." in history
    assert "not kept apart any more" in history


def test_a_note_that_is_too_long_comes_back_as_it_was_typed(client: Client) -> None:
    one, other = a_pair()
    address = reverse("keep-apart", args=[one.pk, other.pk])
    typed = "n" * 501
    shown = text(client.post(address, {"act_key": new_key(), "note": typed}), 422)
    assert "Nothing was saved yet" in shown
    assert typed in shown
    assert not KeptApart.objects.exists()


@pytest.mark.parametrize("name", ["keep-apart", "merge"])
def test_a_record_is_no_pair_with_itself(client: Client, name: str) -> None:
    one = ottoline()
    assert client.get(reverse(name, args=[one.pk, one.pk])).status_code == 404
    assert client.get(reverse(name, args=[one.pk, one.pk + 999])).status_code == 404


def test_both_records_are_in_the_trail(client: Client) -> None:
    one, other = a_pair()
    client.get(merge_page(one, other))
    entries = TrailEntry.objects.filter(act="GET merge")
    assert {entry.patient_id for entry in entries} == {one.pk, other.pk}


# --- merging -------------------------------------------------------------------------------------


def test_the_merge_page_says_what_would_follow(client: Client, dietitian: StaffUser) -> None:
    one, other = a_pair()
    assignment = an_assignment(operation=an_operation(patient=other))
    invitation, _ = an_invitation(assignment=assignment)
    clear_by_teach_back(other, assignment.module, at=now(), by_id=dietitian.pk, note="Said it all.")
    log_contact(
        other, means=Means.CALL, outcome=Outcome.REACHED, note="", next_on=None, at=now(),
        by_id=dietitian.pk,
    )  # fmt: skip
    correct(one, at=now(), source="x", phone="")
    shown = text(client.get(merge_page(one, other)))
    assert "Check two identifiers yourself" in shown
    assert "Similar, not equal:</b> family name one letter off" in shown
    assert f"{assignment.operation.procedure.name}, " in shown
    assert "teach-back seen by staff" in shown
    assert "1 contact logged" in shown
    assert f"The link that went to <bdi>{other.email}</bdi>" in shown
    assert f"Only the other record has a phone number, <bdi>{other.phone}</bdi>" in shown
    assert "no fact of the other record is mixed in" in shown
    assert "cancel one of them" not in shown
    assert invitation.address == other.email


def test_the_older_record_is_kept_unless_asked_otherwise(client: Client) -> None:
    one, other = a_pair()
    assert merge_form(client, one, other)["keep"] == str(one.pk)
    assert merge_form(client, other, one)["keep"] == str(one.pk)
    assert merge_form(client, one, other, f"?keep={other.pk}")["keep"] == str(other.pk)
    merged(client, one, other, f"?keep={other.pk}")
    done = Merge.objects.get()
    assert (done.kept, done.merged) == (other, one)


def test_one_button_merges_once(client: Client) -> None:
    one, other = a_pair()
    operation = an_operation(patient=other)
    sent = merge_form(client, one, other) | {"reason": "Asked her: one and the same."}
    for _ in range(2):
        response = client.post(merge_page(one, other), sent)
        assert response["Location"] == reverse("patient", args=[one.pk])
    done = Merge.objects.get()
    assert (done.kept, done.merged, done.reason) == (one, other, "Asked her: one and the same.")
    assert Operation.objects.get(pk=operation.pk).patient == one
    shown = text(client.get(reverse("patient", args=[one.pk])))
    assert "Merged: MRN TF-65 is now part of Ottoline Pemberwick" in shown
    assert "This record speaks for another one too" in shown
    listed = page(client)
    assert 'class="pair"' not in listed
    assert "Asked her: one and the same." in listed
    assert reverse("undo-merge", args=[done.pk]) in listed


def test_a_merge_needs_a_reason(client: Client) -> None:
    one, other = a_pair()
    shown = text(merged(client, one, other, reason=" "), 422)
    assert "Nothing was saved yet" in shown
    assert "autofocus" in shown
    assert not Merge.objects.exists()


def test_a_reason_that_is_too_long_is_kept_as_it_was_typed(client: Client) -> None:
    one, other = a_pair()
    typed = "r" * 501
    assert typed in text(merged(client, one, other, reason=typed), 422)
    assert not Merge.objects.exists()


def test_acting_on_a_page_older_than_the_record_merges_nothing(client: Client) -> None:
    one, other = a_pair()
    sent = merge_form(client, one, other) | {"reason": "Asked her."}
    correct(other, at=now(), source="x", birth_date=date(1951, 2, 1))
    shown = text(client.post(merge_page(one, other), sent), 409)
    assert "Nothing was merged yet" in shown
    assert "1 February 1951" in shown
    assert "Asked her." in shown, "what was typed is still there"
    assert not Merge.objects.exists()


def test_the_record_that_is_kept_is_the_one_that_was_shown(client: Client) -> None:
    one, other = a_pair()
    text(merged(client, one, other, keep=str(other.pk)), 409)
    assert not Merge.objects.exists()


def test_two_open_operations_of_one_procedure_are_pointed_out(client: Client) -> None:
    """On whatever days: the two records may have been given one operation with two dates."""
    one, other = a_pair()
    an_operation(patient=one, days_ahead=20)
    an_operation(patient=other, days_ahead=20)
    an_operation(patient=other, days_ahead=22)
    an_operation(patient=other, days_ahead=20, procedure=a_procedure("B-2", "Bypass"))
    shown = text(client.get(merge_page(one, other)))
    assert shown.count("look whether both are meant, and cancel the one that is not") == 2
    merged(client, one, other)
    shown = text(client.get(reverse("patient", args=[one.pk])))
    assert shown.count("are open now; look whether both are meant") == 2


def test_quizzes_that_a_merge_asks_about_again_are_named(client: Client) -> None:
    one, other = a_pair()
    assignment = an_assignment(operation=an_operation(patient=other))
    link, _ = an_invitation(assignment=assignment)
    quiz = a_submission(link, given_names=one.given_names, family_names="Quonk")
    shown = client.get(merge_page(one, other)).content.decode()
    assert f'<a href="{reverse("submission", args=[quiz.pk])}">' in shown
    assert "may be matched with the kept record by itself" in shown
    not_a_patient(quiz, at=now(), by_id=a_member("dietitian").pk)
    assert "What is asked again" not in client.get(merge_page(one, other)).content.decode()


def test_a_third_record_that_is_alike_is_named(client: Client) -> None:
    one, other = a_pair()
    third = ottoline("Pemberwickk", mrn="TF-99")
    shown = text(client.get(merge_page(one, other)))
    assert "there is a third record" in shown
    assert third.mrn in shown


def test_two_who_are_kept_apart_are_not_merged(client: Client, dietitian: StaffUser) -> None:
    one, other = a_pair()
    sent = merge_form(client, one, other) | {"reason": "One."}
    kept = keep_apart.keep_apart(one, other, note="Twins", at=now(), by_id=dietitian.pk)
    shown = text(client.get(merge_page(one, other)))
    assert "They are kept apart as two people" in shown
    assert "“Twins”" in shown
    assert 'name="reason"' not in shown
    response = client.post(merge_page(one, other), sent)
    assert response["Location"] == merge_page(one, other)
    assert not Merge.objects.exists()
    back = reverse("end-kept-apart", args=[kept.pk])
    response = client.post(back, form_to(client.get(merge_page(one, other)), back))
    assert response["Location"].startswith(merge_page(one, other))
    assert merge_form(client, one, other)


def test_a_record_that_was_merged_meanwhile_leads_to_who_speaks_for_it(
    client: Client, dietitian: StaffUser
) -> None:
    one, other = a_pair()
    third = ottoline("Pemberwik")
    merge(third, other, reason="one", at=now(), by_id=dietitian.pk)
    response = client.get(merge_page(one, other))
    assert response["Location"] == reverse("patient", args=[third.pk])
    assert client.get(reverse("keep-apart", args=[one.pk, other.pk])).status_code == 404
    assert client.get(reverse("find-same", args=[other.pk])).status_code == 404


# --- undoing -------------------------------------------------------------------------------------


def an_undone_form(client: Client, done: Merge) -> dict[str, str]:
    return form_to(client.get(reverse("undo-merge", args=[done.pk])), "")


def test_a_merge_is_undone_with_a_reason(client: Client, dietitian: StaffUser) -> None:
    one, other = a_pair()
    assignment = an_assignment(operation=an_operation(patient=other))
    clear_by_teach_back(other, assignment.module, at=now(), by_id=dietitian.pk, note="Said it all.")
    done = merge(one, other, reason="Looked the same", at=now(), by_id=dietitian.pk)
    clear_by_teach_back(one, assignment.module, at=now(), by_id=dietitian.pk, note="Again.")
    address = reverse("undo-merge", args=[done.pk])
    shown = text(client.get(address))
    assert "Looked the same" in shown
    assert f"{assignment.operation.procedure.name}, " in shown
    assert "stops counting for MRN" in shown
    assert "which came after the merge: look whether it is its own" in shown
    text(client.post(address, an_undone_form(client, done)), 422)
    sent = an_undone_form(client, done) | {"reason": "Two sisters."}
    for _ in range(2):
        assert client.post(address, sent)["Location"] == reverse("patient", args=[one.pk])
    undone = MergeUndone.objects.get()
    assert (undone.merge, undone.reason) == (done, "Two sisters.")
    assert Operation.objects.get(pk=assignment.operation_id).patient == other
    listed = page(client)
    assert "<b>Undone</b> by Imogen Tallis" in listed
    assert "Two sisters." in listed
    assert address not in listed
    again = text(client.get(address))
    assert "It was undone by Imogen Tallis" in again
    assert 'name="reason"' not in again


def test_somebody_else_was_faster(client: Client, dietitian: StaffUser) -> None:
    one, other = a_pair()
    done = merge(one, other, reason="one", at=now(), by_id=dietitian.pk)
    sent = an_undone_form(client, done) | {"reason": "Two."}
    undo_merge(done, reason="Mine", at=now(), by_id=dietitian.pk)
    address = reverse("undo-merge", args=[done.pk])
    response = client.post(address, sent)
    assert response["Location"] == address
    assert "Nothing was undone: somebody was faster" in text(client.get(address))
    assert MergeUndone.objects.get().reason == "Mine"


def test_the_later_merge_is_undone_first(client: Client, dietitian: StaffUser) -> None:
    one, other = a_pair()
    third = ottoline("Pemberwik")
    first = merge(one, other, reason="one", at=now(), by_id=dietitian.pk)
    later = merge(third, one, reason="one", at=now(), by_id=dietitian.pk)
    shown = text(client.get(reverse("undo-merge", args=[first.pk])))
    assert "Undo that merge first" in shown
    assert reverse("undo-merge", args=[later.pk]) in shown
    assert 'name="reason"' not in shown


def test_a_link_that_went_elsewhere_is_dead_after_the_merge(client: Client) -> None:
    """What the page said would end did end."""
    one, other = a_pair()
    _, token = an_invitation(assignment=an_assignment(operation=an_operation(patient=other)))
    assert open_link(Invitation, token, at=now()).state == LinkState.GOOD
    merged(client, one, other)
    assert open_link(Invitation, token, at=now()).state == LinkState.ENDED


# --- the way there -------------------------------------------------------------------------------


def found(client: Client, patient: Patient, q: str) -> str:
    return text(client.get(reverse("find-same", args=[patient.pk]), {"q": q}))


def test_the_other_record_is_found_by_mrn_and_by_any_name(
    client: Client, dietitian: StaffUser
) -> None:
    one, other = a_pair()
    asking = a_patient()
    other_names.add(
        one, kind=NameKind.FORMER, given_names="Ottoline", family_names="Quarshie-Lund", at=now(),
        by_id=None, source="told us",
    )  # fmt: skip
    for q in ("TF-57", "tf-57", "Pemberwick", "quarshie", "ottoline lund", "1984-06-03"):
        assert merge_page(asking, one) in found(client, asking, q), q
    assert "No other record fits" in found(client, asking, "Nobody Such")
    assert "No other record fits" in found(client, asking, "\x00")
    assert merge_page(asking, asking) not in found(client, asking, asking.mrn)
    merge(one, other, reason="one", at=now(), by_id=dietitian.pk)
    assert merge_page(asking, one) in found(client, asking, "TF-65"), "by the merged record’s MRN"
    assert merge_page(asking, other) not in found(client, asking, "Pemberwyck")


def test_the_patients_page_points_to_a_likely_duplicate(client: Client) -> None:
    one, other = a_pair()
    shown = text(client.get(reverse("patient", args=[other.pk])))
    assert "Another record may be the same person" in shown
    assert merge_page(other, one) in shown
    assert reverse("find-same", args=[other.pk]) in shown
    auditor = text(signed_in(Role.AUDITOR).get(reverse("patient", args=[other.pk])))
    assert merge_page(other, one) not in auditor
    assert reverse("patient", args=[one.pk]) in auditor
    administrator = text(signed_in(Role.ADMINISTRATOR).get(reverse("patient", args=[other.pk])))
    assert reverse("find-same", args=[other.pk]) in administrator
    assert reverse("add-other-name", args=[other.pk]) not in administrator


def test_a_quiz_that_waits_is_matched_when_its_two_candidates_become_one(
    client: Client, dietitian: StaffUser
) -> None:
    """Two records of one name and birthday: no automatic match until a person merges them."""
    one, other = ottoline(mrn="TF-57"), ottoline(mrn="TF-65")
    invitation, _ = an_invitation(assignment=an_assignment(operation=an_operation(patient=one)))
    submission = a_submission(invitation)
    assert not submission.decisions.exists()
    merged(client, one, other)
    [decision] = submission.decisions.all()
    assert decision.patient == one
    said = text(client.get(reverse("patient", args=[one.pk])))
    assert (
        "By it a quiz that waited is matched with Ottoline Pemberwick, MRN TF-57: typed as" in said
    )
    undoing = text(client.get(reverse("undo-merge", args=[Merge.objects.get().pk])))
    assert "1 quiz decided since the merge, unless the other could be meant too" in undoing
    assert "look whether it is its own" not in undoing  # it is undone with that decision


def test_what_is_older_than_a_minute_is_dated(client: Client, dietitian: StaffUser) -> None:
    one, other = a_pair()
    at = now() - timedelta(days=3)
    keep_apart.keep_apart(one, other, at=at, by_id=dietitian.pk)
    shown = page(client)
    assert f"{at:%Y}" in shown
    assert "no note" in shown
