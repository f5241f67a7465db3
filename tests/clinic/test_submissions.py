"""Whose quiz is this: the candidates with their reasons, the decision, and undoing it."""

from datetime import date
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from clinic.models import TrailEntry
from clinic.once import new_key
from education import identify
from education.models import (
    Assignment,
    Clearance,
    IdentityDecision,
    IdentityVerdict,
    Revocation,
    Submission,
)
from patients.clock import now
from patients.models import Patient
from tests.factories import (
    a_member,
    a_patient,
    a_submission,
    an_assignment,
    an_edition,
    an_invitation,
    an_operation,
    signed_in,
)

pytestmark = pytest.mark.django_db


def an_assigned(**facts: Any) -> Assignment:
    operation = an_operation(patient=a_patient(**facts), days_ahead=20)
    return an_assignment(operation=operation, module=an_edition().module)


def an_undecided(**typed: Any) -> Submission:
    """A passed quiz through Marta Vale's link, typed with another name."""
    assignment = an_assigned(
        given_names="Marta", family_names="Vale", birth_date=date(1980, 4, 5), mrn="LF-1"
    )
    invitation, _ = an_invitation(assignment=assignment)
    return a_submission(invitation, **{"family_names": "Quill", **typed})


def owner(submission: Submission) -> Patient:
    return submission.attempt.invitation.assignment.operation.patient


def page(client: Client, submission: Submission, query: str = "") -> str:
    response = client.get(reverse("submission", args=[submission.pk]) + query)
    assert response.status_code == 200
    return response.content.decode()


def decide(client: Client, submission: Submission, person: object, **given: Any) -> Any:
    return client.post(
        reverse("decide-identity", args=[submission.pk]),
        {"act_key": new_key(), "person": str(person), **given},
    )


def test_the_list_puts_the_undecided_first() -> None:
    submission = an_undecided()
    html = signed_in("dietitian").get(reverse("submissions")).content.decode()
    assert "1 submission waits for a decision" in html
    assert html.index("Quill") < html.index("<h2>Decided</h2>")
    identify.match(submission, owner(submission), at=now(), by_id=a_member("dietitian").pk)
    html = signed_in("dietitian").get(reverse("submissions")).content.decode()
    assert "No submission waits for a decision" in html
    assert html.index("Quill") > html.index("<h2>Decided</h2>")


def test_a_candidate_shows_the_evidence_in_words_and_marks_what_differs() -> None:
    submission = an_undecided()
    html = page(signed_in("dietitian"), submission)
    for said in (
        "nobody fits in both name and date of birth",
        "date of birth equal",
        "given name equal",
        "family name differs",
        "came through this patient’s link",
        "<mark>Vale</mark>",
        "MRN LF-1",
        "born 5 April 1980",
    ):
        assert said in html, said
    assert "<mark>Marta</mark>" not in html


def test_a_decision_clears_and_says_what_happened() -> None:
    submission = an_undecided()
    client = signed_in(a_member("dietitian", name="Imogen Tallis"))
    decide(client, submission, owner(submission).pk, note="Married in May.")
    clearance = Clearance.objects.get()
    assert clearance.patient == owner(submission)
    html = page(client, submission)
    assert "Decided: this is Marta Vale’s quiz." in html
    assert "Matched by staff by Imogen Tallis" in html
    assert "Cleared on" in html
    assert "Married in May." in html
    assert 'class="standing standing-cleared"' in html
    entry = TrailEntry.objects.filter(act="POST decide-identity").get()
    assert entry.patient_id == owner(submission).pk


def test_the_same_decision_sent_twice_acts_once() -> None:
    """Promise W3."""
    submission = an_undecided()
    client = signed_in("dietitian")
    key = new_key()
    given = {"act_key": key, "person": str(owner(submission).pk)}
    address = reverse("decide-identity", args=[submission.pk])
    answers = [client.post(address, given)["Location"] for _ in range(3)]
    assert len(set(answers)) == 1
    assert IdentityDecision.objects.count() == 1
    assert "Somebody decided meanwhile" not in page(client, submission)


def test_decided_meanwhile_says_who_decided_what() -> None:
    """Fault 10, for identity: the second decision is refused, and the first one shown."""
    submission = an_undecided()
    other = a_patient(given_names="Marta", family_names="Other", birth_date=date(1980, 4, 5))
    first = signed_in(a_member("dietitian", name="Imogen Tallis"))
    second = signed_in("clinician")
    decide(first, submission, owner(submission).pk)
    decide(second, submission, other.pk)
    html = page(second, submission)
    assert "Somebody decided meanwhile: yours was not taken." in html
    assert "Marta Vale’s quiz" in html
    assert "Imogen Tallis" in html
    assert Clearance.objects.get().patient == owner(submission)


def test_not_a_patient_is_kept_and_clears_nobody() -> None:
    submission = an_undecided()
    client = signed_in("dietitian")
    decide(client, submission, "nobody", note="A friend tried it out.")
    html = page(client, submission)
    assert "Not a patient of ours" in html
    assert not Clearance.objects.exists()
    assert Submission.objects.get() == submission


def test_undo_needs_a_reason_and_revokes_the_clearance() -> None:
    submission = an_undecided()
    client = signed_in("dietitian")
    decide(client, submission, owner(submission).pk)
    address = reverse("undo-identity", args=[submission.pk])
    assert client.post(address, {"act_key": new_key(), "reason": ""}).status_code == 422
    client.post(address, {"act_key": new_key(), "reason": "It was her cousin."})
    assert Revocation.objects.get().reason == "It was her cousin."
    html = page(client, submission)
    assert "Undone. A clearance that rested on it is revoked." in html
    assert "Whose quiz is this?" in html
    client.post(address, {"act_key": new_key(), "reason": "again, from an old page"})
    assert "It had been undone meanwhile." in page(client, submission)
    assert submission.decisions.count() == 2


def test_an_automatic_match_can_be_undone_and_then_a_person_decides() -> None:
    assignment = an_assigned()
    invitation, _ = an_invitation(assignment=assignment)
    submission = a_submission(invitation)
    assert submission.decisions.get().verdict == IdentityVerdict.MATCHED_AUTOMATICALLY
    client = signed_in("dietitian")
    client.post(
        reverse("undo-identity", args=[submission.pk]), {"act_key": new_key(), "reason": "no"}
    )
    assert "The rule would match it, but an earlier decision was undone" in page(client, submission)


def test_two_patients_with_one_name_and_birth_date_go_to_a_person() -> None:
    """Fault 28."""
    same: dict[str, Any] = {
        "given_names": "Ana",
        "family_names": "Sol",
        "birth_date": date(1975, 1, 2),
    }
    assignment = an_assigned(**same)
    a_patient(**same, mrn="LF-SECOND")
    invitation, _ = an_invitation(assignment=assignment)
    submission = a_submission(invitation)
    assert not Clearance.objects.exists()
    html = page(signed_in("dietitian"), submission)
    assert "more than one patient fits" in html
    assert "MRN LF-SECOND" in html
    assert html.index(f"MRN {assignment.operation.patient.mrn}") < html.index("MRN LF-SECOND</")


def test_the_register_is_searched_if_nobody_fits() -> None:
    submission = an_undecided()
    wanted = a_patient(given_names="Ottilie", family_names="Brandt", birth_date=date(1950, 1, 1))
    client = signed_in("dietitian")
    assert "Ottilie" not in page(client, submission)
    html = page(client, submission, "?q=brandt")
    assert "Ottilie" in html
    assert "found by your search" in html
    decide(client, submission, wanted.pk, q="brandt")
    assert Clearance.objects.get().patient == wanted


@pytest.mark.parametrize("person", ["", "x", "999999", "nobody "])
def test_somebody_who_was_not_shown_cannot_be_chosen(person: str) -> None:
    submission = an_undecided()
    response = decide(signed_in("dietitian"), submission, person, note="kept as typed")
    html = response.content.decode()
    assert response.status_code == 422
    assert "Nothing was decided yet" in html
    assert "kept as typed" in html
    assert not IdentityDecision.objects.exists()


@pytest.mark.parametrize("role", ["coordinator", "administrator", "auditor"])
def test_readers_see_and_may_not_decide(role: str) -> None:
    submission = an_undecided()
    client = signed_in(role)
    html = page(client, submission)
    assert "A dietitian or a clinician decides." in html
    assert 'type="radio"' not in html
    assert decide(client, submission, owner(submission).pk).status_code == 403


def test_a_typed_name_with_markup_is_shown_as_text() -> None:
    """Fault 27."""
    submission = an_undecided(given_names="<img src=x onerror=alert(1)>")
    html = page(signed_in("dietitian"), submission)
    assert "<img" not in html
    assert "&lt;img" in html
