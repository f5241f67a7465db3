"""Whose quiz is this: the candidates with their reasons, the decision, and undoing it."""

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from typing import Any
from unittest.mock import ANY
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.day_words import day
from clinic.models import TrailEntry
from clinic.once import new_key
from clinic.views import submission_acts
from education import identify
from education.clear import clear_by_teach_back
from education.models import (
    Assignment,
    Clearance,
    IdentityDecision,
    IdentityVerdict,
    Revocation,
    Submission,
    SubmissionNote,
)
from patients import other_names, programme
from patients.clock import now
from patients.duplicates import find_duplicates
from patients.merge import merge, undo_merge
from patients.models import Booking, Patient
from patients.register import correct
from patients.rules.identity import NameKind, Policy, Verdict
from patients.schedule import change, move
from tests.beside import Beside
from tests.clinic.test_morning import failing_at
from tests.factories import (
    a_member,
    a_patient,
    a_programme,
    a_submission,
    an_assignment,
    an_edition,
    an_invitation,
    an_operation,
    signed_in,
)
from tests.rendered_forms import form_to

pytestmark = pytest.mark.django_db

SWAPPED = {"given_names": "Vale", "family_names": "Marta"}


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


def review(client: Client, query: str = "") -> str:
    response = client.get(reverse("submissions") + query)
    assert response.status_code == 200
    return response.content.decode()


def act(client: Client, name: str, submission: Submission, **given: Any) -> Any:
    return client.post(reverse(name, args=[submission.pk]), {"act_key": new_key(), **given})


def decide(client: Client, submission: Submission, person: object, **given: Any) -> Any:
    return act(client, "decide-identity", submission, person=str(person), **given)


def undo(client: Client, submission: Submission, reason: str, **given: Any) -> Any:
    return act(client, "undo-identity", submission, reason=reason, **given)


def words(html: str) -> str:
    """The words of a page without its markup."""
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def rows(html: str) -> dict[str, list[str]]:
    """The rows of the first comparison: the words of each cell, by the row's header."""
    table = html[html.index('<table class="beside') : html.index("</table>")]
    found = {}
    for row in re.findall(r"<tr.*?</tr>", table, flags=re.S):
        cells = re.findall(r"<t[hd].*?</t[hd]>", row, flags=re.S)
        found[words(cells[0])] = [words(cell) for cell in cells[1:]]
    return found


def waiting_since(days: int, **typed: Any) -> Submission:
    """An undecided quiz that came in so many days ago, through a link of its own patient."""
    at = now() - timedelta(days=days)
    operation = an_operation(patient=a_patient(at=at), at=at)
    assignment = an_assignment(operation=operation, module=an_edition(at=at).module, at=at)
    invitation, _ = an_invitation(assignment=assignment, at=at)
    return a_submission(invitation, at=at, given_names=f"Somebody{days}", **typed)


# --- the review ----------------------------------------------------------------------------------


def test_the_undecided_come_first_the_oldest_on_top() -> None:
    later, earlier = waiting_since(1), waiting_since(3)
    html = review(signed_in("dietitian"))
    assert "2 submissions wait for a decision" in html
    assert html.index("Somebody3") < html.index("Somebody1") < html.index("Decided last")
    by = a_member("dietitian").pk
    for one in (later, earlier):
        identify.match(one, owner(one), at=now(), by_id=by)
    html = review(signed_in("dietitian"))
    assert "No submission waits for a decision" in html
    assert html.index("Somebody1") > html.index("Decided last")


def test_before_the_first_quiz_it_does_not_say_that_all_is_decided() -> None:
    a_programme()
    html = review(signed_in("dietitian"))
    assert "No quiz has been handed in yet." in html
    assert "has been decided" not in html


def test_typed_and_candidates_stand_side_by_side_marked_in_words() -> None:
    submission = an_undecided(family_names="Vael")
    a_patient(
        given_names="Marta Luz", family_names="Quill", birth_date=date(1980, 4, 5), mrn="LF-2"
    )
    for html in (review(signed_in("dietitian")), page(signed_in("dietitian"), submission)):
        told = rows(html)
        assert told["Given name"] == ["Marta", "Marta = equal", ANY]
        assert told["Family name"] == ["Vael", "Vale ≈ close family name one letter off", ANY]
        assert told["Date of birth"] == ["5 April 1980", "5 April 1980 = equal", ANY]
        assert told["MRN"] == ["not asked", "LF-1", "LF-2"]
        given_to = "Marta Vale, MRN LF-1 through the emailed link"
        assert told["Given to"] == [given_to, "= this patient", "≠ somebody else"]
        assert told["Given name"][2].startswith("Marta Luz ≈ close given name equal but for")
        assert told["Family name"][2] == "Quill ≠ differs"
        assert "<mark>Vale</mark>" in html
        assert "<mark>Marta</mark>" not in html


@pytest.mark.parametrize(
    "typed, row, mark",
    [
        ({"birth_date": date(1980, 5, 4)}, "Date of birth", "≈ close"),
        ({"birth_date": date(1980, 4, 6)}, "Date of birth", "≈ close"),
        ({"birth_date": date(1971, 12, 30)}, "Date of birth", "≠ differs"),
        ({"given_names": "Ottilie"}, "Given name", "≠ differs"),
        # Equal parts in the wrong places are not called equal.
        ({**SWAPPED, "birth_date": date(1980, 4, 6)}, "Given name", "≈ close"),
        ({**SWAPPED, "birth_date": date(1980, 4, 6)}, "Family name", "≈ close"),
    ],
)
def test_each_part_has_its_own_mark(typed: dict[str, Any], row: str, mark: str) -> None:
    submission = an_undecided(**{"family_names": "Vale", **typed})
    Submission.objects.undecided().get()
    assert mark in rows(page(signed_in("dietitian"), submission))[row][1]


def test_it_says_what_each_record_waits_for() -> None:
    submission = an_undecided(wrong=3)
    or_date = submission.attempt.invitation.assignment.operation.or_date
    assert or_date
    a_patient(given_names="Marta", family_names="Quille", birth_date=date(1980, 4, 5), mrn="LF-9")
    told = rows(page(signed_in("dietitian"), submission))["Module, and who waits for it"]
    assert "failed" in told[0]
    by_mrn = dict(zip(rows(page(signed_in("dietitian"), submission))["MRN"], told, strict=True))
    assert by_mrn["LF-9"] == "nothing of this module"
    for_date = f"not due , OR date {or_date.day} {or_date:%B %Y}: a quiz came in"
    assert by_mrn["LF-1"].startswith(for_date)


def test_without_an_or_date_it_says_so() -> None:
    submission = an_undecided()
    move(submission.attempt.invitation.assignment.operation, None, at=now())
    assert rows(page(signed_in("dietitian"), submission))["Module, and who waits for it"][
        1
    ].startswith("not due : no OR date yet")


def test_a_former_name_is_shown_as_one() -> None:
    """Typed under the former name: the cell shows that name, and the head today's."""
    submission = an_undecided(family_names="Ormerod", birth_date=date(1980, 4, 6))
    patient = owner(submission)
    other_names.add(
        patient,
        kind=NameKind.FORMER,
        given_names="Marta",
        family_names="Ormerod",
        source="by telephone",
        at=now(),
        by_id=a_member("dietitian").pk,
    )
    html = page(signed_in("dietitian"), submission)
    told = rows(html)
    assert told["Family name"][1] == "Ormerod former name = equal"
    assert "Candidate 1 Marta Vale" in words(html)


def test_a_page_holds_ten_and_leads_on_and_back() -> None:
    a_programme(at=now() - timedelta(days=40))
    submissions = [waiting_since(30 - number) for number in range(12)]
    client = signed_in("dietitian")
    html = review(client)
    assert html.count("<article") == 10
    assert "Older ones" not in html
    assert f'href="?from={submissions[10].pk}"' in html
    html = review(client, f"?from={submissions[10].pk}")
    assert html.count("<article") == 2
    assert "10 older ones stand before these" in html
    assert f'href="?from={submissions[0].pk}"' in html
    assert review(client, "?from=999999").count("<article") == 10
    assert review(client, "?from=x").count("<article") == 10


def test_a_page_that_begins_behind_the_last_leads_back() -> None:
    first, last = waiting_since(2), waiting_since(1)
    client = signed_in("dietitian")
    decide(client, last, owner(last).pk)
    html = review(client, f"?from={last.pk}")
    assert "No newer one waits." in html
    assert "1 older one stands before these" in html
    assert first.given_names not in html.partition("Decided last")[0]


def test_the_queries_of_a_page_are_bounded(django_assert_max_num_queries: Any) -> None:
    """A few for the page and for all candidates; the rule asks its own for each submission."""
    a_programme(at=now() - timedelta(days=40))
    for number in range(10):
        waiting_since(30 - number)
    client = signed_in("dietitian")
    review(client)
    with django_assert_max_num_queries(35 + 10 * 6):
        review(client)


def test_the_morning_list_leads_to_the_right_entry() -> None:
    other, meant = waiting_since(3), waiting_since(2)
    client = signed_in("dietitian")
    asked = f"?assignment={meant.attempt.invitation.assignment_id}"
    address = reverse("submission", args=[meant.pk])
    assert client.get(reverse("submissions") + asked)["Location"] == address
    decide(client, meant, owner(meant).pk)  # decided meanwhile: it shows by whom
    assert client.get(reverse("submissions") + asked)["Location"] == address
    html = review(client, "?assignment=999999")
    assert other.given_names in html


# --- deciding ------------------------------------------------------------------------------------


def test_a_decision_clears_says_what_happened_and_leads_to_the_next() -> None:
    submission = an_undecided()
    following = waiting_since(0)
    client = signed_in(a_member("dietitian", name="Imogen Tallis"))
    response = decide(client, submission, owner(submission).pk, note="Married in May.")
    assert response["Location"] == f"/submissions/?from={following.pk}"
    html = client.get(response["Location"]).content.decode()
    mrn = owner(submission).mrn
    said = f"Decided: it is the quiz of Marta Vale, MRN {mrn}, typed as Marta Quill. Passed on"
    assert said in html
    assert ": cleared by it." in html
    undo_address = reverse("undo-identity", args=[submission.pk])
    assert f'<a href="{undo_address}">Undo</a>' in html
    assert Clearance.objects.get().patient == owner(submission)
    html = page(client, submission)
    assert "Matched by staff by Imogen Tallis" in html
    assert "Married in May." in html
    beside = "date of birth equal; given name equal; family name differs"
    assert f"Beside the record: {beside}; the quiz was given to this patient." in html
    assert 'class="standing standing-cleared"' in html
    entry = TrailEntry.objects.filter(act="POST decide-identity").get()
    assert entry.patient_id == owner(submission).pk
    assert "Undo the decision" in client.get(undo_address).content.decode()


def test_the_last_one_leads_to_the_oldest_or_to_an_empty_review() -> None:
    oldest, last = waiting_since(2), waiting_since(1)
    client = signed_in("dietitian")
    assert decide(client, last, "nobody")["Location"] == f"/submissions/?from={oldest.pk}"
    response = decide(client, oldest, "nobody")
    assert response["Location"] == "/submissions/"
    html = client.get(response["Location"]).content.decode()
    assert "No submission waits for a decision" in html
    assert "Whose every quiz is has been decided." in html


def test_a_quiz_after_the_clear_by_date_clears_nobody_and_the_message_says_so() -> None:
    assignment = an_assigned()
    invitation, _ = an_invitation(assignment=assignment)
    assert assignment.clear_by
    after = datetime.combine(assignment.clear_by, time(12), UTC) + timedelta(days=2)
    with time_machine.travel(after, tick=False):
        submission = a_submission(invitation, family_names="Quill")
        client = signed_in("dietitian")
        decide(client, submission, owner(submission).pk)
        html = review(client)
        decided = words(page(client, submission))
    assert ", and not cleared by it: needs sign-off." in html
    assert "cleared by it." not in html
    assert ", and not cleared by it: needs sign-off." in decided
    assert "cleared by it." not in decided


def test_a_quiz_of_somebody_whose_operation_is_over_clears_nothing_and_both_pages_say_so() -> None:
    submission, client = an_undecided(), signed_in("dietitian")
    operation = owner(submission).operations.get()
    change(operation, booking=Booking.CANCELLED, at=now(), source="test")
    decide(client, submission, owner(submission).pk)
    said = "No open operation of this patient asks for the module."
    assert said in review(client)
    assert said in words(page(client, submission))
    assert "cleared by it" not in page(client, submission)


def test_a_quiz_of_somebody_who_was_cleared_already_is_not_said_to_clear() -> None:
    assignment = an_assigned(given_names="Marta", family_names="Vale")
    invitation, _ = an_invitation(assignment=assignment)
    with time_machine.travel(now() - timedelta(days=1), tick=False):
        clear_by_teach_back(
            assignment.operation.patient,
            assignment.module,
            at=now(),
            by_id=a_member("clinician").pk,
            note="her own words",
        )
    submission, client = a_submission(invitation, family_names="Quill"), signed_in("dietitian")
    decide(client, submission, owner(submission).pk)
    for html in (review(client), page(client, submission)):
        assert "; it was cleared already." in html
        assert "cleared by it" not in html


def test_two_or_dates_are_told_apart() -> None:
    submission, client = an_undecided(), signed_in("dietitian")
    patient, module = owner(submission), submission.edition.module
    later = an_assignment(operation=an_operation(patient=patient, days_ahead=None), module=module)
    assert later.clear_by is None
    decide(client, submission, patient.pk)
    or_date = submission.attempt.invitation.assignment.operation.or_date
    assert or_date
    for html in (review(client), page(client, submission)):
        assert f"OR date {day(or_date)}: cleared; OR date not known yet: not due." in html


def test_what_differed_from_somebody_found_by_search_stays_on_record() -> None:
    submission, client = an_undecided(), signed_in("dietitian")
    other = a_patient(given_names="Ottilie", family_names="Brandt", birth_date=date(1950, 1, 1))
    decide(client, submission, other.pk, q="brandt", note="Her niece typed for her.")
    assert submission.decisions.get().reasons == [
        "birth_date_different",
        "given_name_different",
        "family_name_different",
        "link_was_somebody_elses",
    ]
    assert "Beside the record: date of birth differs" in page(client, submission)


def test_what_agreed_then_and_what_does_today_are_told_apart() -> None:
    patient = an_assigned(given_names="Marta", family_names="Vale", birth_date=BORN).operation
    invitation, _ = an_invitation(assignment=patient.assignments.get())
    submission, client = a_submission(invitation), signed_in("dietitian")
    assert "Today:" not in page(client, submission)
    correct(owner(submission), at=now(), source="her passport", birth_date=date(1971, 5, 9))
    html = words(page(client, submission))
    assert "Beside the record when it was decided: date of birth equal; name equal" in html
    assert "Today: date of birth differs; name equal; the quiz was given to this patient." in html


def test_a_failed_quiz_clears_nobody_and_the_message_says_so() -> None:
    submission = an_undecided(wrong=3)
    client = signed_in("dietitian")
    assert "The quiz was failed, so deciding clears nobody." in page(client, submission)
    decide(client, submission, owner(submission).pk)
    assert "It was failed, so it clears nobody." in review(client)
    assert not Clearance.objects.exists()


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
    assert "Somebody decided meanwhile" not in review(client)


BORN = date(1980, 4, 5)
# What happens to the register while somebody looks at a quiz; whether they have to look again.
CHANGED_MEANWHILE: list[tuple[Callable[[Patient], Any], bool]] = [
    (lambda one: correct(one, at=now(), source="a call", given_names="Martha"), True),
    (lambda one: correct(one, at=now(), source="a call", birth_date=date(1979, 4, 5)), True),
    (lambda one: a_patient(given_names="Marta", family_names="Quill", birth_date=BORN), True),
    (lambda one: correct(one, at=now(), source="a call", phone="303 555 0199"), False),
    (lambda one: a_patient(given_names="Thaddeus", family_names="Ogletree"), False),
]


@pytest.mark.parametrize("meanwhile, again", CHANGED_MEANWHILE)
def test_who_decides_has_seen_the_patients_as_they_are(
    meanwhile: Callable[[Patient], Any], again: bool
) -> None:
    submission, client = an_undecided(), signed_in("dietitian")
    address = reverse("decide-identity", args=[submission.pk])
    shown = form_to(client.get(reverse("submission", args=[submission.pk])), address)
    meanwhile(owner(submission))
    chosen = shown | {"person": str(owner(submission).pk), "note": "She rang."}
    response = client.post(address, chosen)
    assert response.status_code == (409 if again else 302)
    assert submission.decisions.exists() is not again
    if again:
        html = response.content.decode()
        assert "The patients to choose from changed while you looked." in words(html)
        assert "She rang.</textarea>" in html
        sent = form_to(response, address) | {"person": str(owner(submission).pk)}
        assert client.post(address, sent).status_code == 302, "looked again"


@pytest.mark.django_db(transaction=True)
def test_a_record_parted_while_it_is_chosen_waits_or_is_shown_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The name that was typed is the other record's, and leaves with it."""
    submission, by = an_undecided(given_names="Liesl", family_names="Okonjo"), a_member("clinician")
    patient, liesl = owner(submission), a_patient(given_names="Liesl", family_names="Okonja")
    merged = merge(patient, liesl, reason="one", at=now(), by_id=by.pk)
    parting = Beside(
        monkeypatch,
        submission_acts,
        "considered",
        lambda: undo_merge(merged, reason="two", at=now(), by_id=by.pk),
    )
    decide(signed_in("dietitian"), submission, patient.pk)
    parting.end()
    assert not Clearance.objects.filter(revocation__isnull=True).exists()


def test_decided_meanwhile_says_who_decided_what_and_keeps_the_note() -> None:
    """Fault 10, for identity: the second decision is refused, and the first one shown."""
    submission = an_undecided()
    other = a_patient(given_names="Marta", family_names="Other", birth_date=date(1980, 4, 5))
    first = signed_in(a_member("dietitian", name="Imogen Tallis"))
    second = signed_in(a_member("clinician", name="Ottoline Brask"))
    decide(first, submission, owner(submission).pk, note="She rang.")
    response = decide(second, submission, other.pk, note="I think it is her cousin’s.")
    assert response.status_code == 409
    html = words(response.content.decode())
    assert "Somebody decided meanwhile: yours was not taken" in html
    assert "matched by staff : Marta Vale, MRN LF-1. “She rang.”" in html
    assert "You wanted: Marta Other, MRN" in html
    assert html.count("Imogen Tallis") > 1
    assert "I think it is her cousin’s.</textarea>" in response.content.decode()
    assert Clearance.objects.get().patient == owner(submission)
    act(second, "note-submission", submission, note="I think it is her cousin’s.")
    html = words(page(first, submission))
    assert "I think it is her cousin’s. Ottoline Brask" in html


def test_not_a_patient_is_kept_and_clears_nobody() -> None:
    submission = an_undecided()
    client = signed_in("dietitian")
    decide(client, submission, "nobody", note="A friend tried it out.")
    assert "Kept as not a patient of ours: Marta Quill." in review(client)
    assert "Not a patient of ours" in page(client, submission)
    assert not Clearance.objects.exists()
    assert Submission.objects.get() == submission
    patient = owner(submission)
    operation = reverse("operation", args=[patient.operations.get().pk])
    for address in (reverse("patient", args=[patient.pk]), operation):
        shown = words(client.get(address).content.decode())
        assert "not invited again yet" in shown
        assert "not invited yet" not in shown


# --- leaving it, with a note ---------------------------------------------------------------------


def test_left_with_a_note_it_waits_on_and_shows_who_wrote_when() -> None:
    submission = an_undecided()
    following = waiting_since(0)
    client = signed_in(a_member("dietitian", name="Imogen Tallis"))
    response = act(client, "note-submission", submission, note="No answer. Try Friday.")
    assert response["Location"] == f"/submissions/?from={following.pk}"
    assert "Left with your note: Marta Quill still waits for a decision." in review(client)
    act(client, "note-submission", submission, note="Rang again: her <b>sister</b> answers.")
    html = page(client, submission)
    assert "Whose quiz is this?" in html
    assert html.index("No answer. Try Friday.") < html.index("Rang again")
    assert "&lt;b&gt;sister" in html
    at = now().astimezone(a_programme().zone)
    assert re.search(rf"Try Friday\. Imogen Tallis, {at.day} {at:%B %Y}, \d\d:\d\d", words(html))
    assert (
        "note on a quiz"
        in client.get(reverse("patient", args=[owner(submission).pk])).content.decode()
    )
    assert not IdentityDecision.objects.exists()


@pytest.mark.parametrize("note, status", [("", 422), ("  ", 422), ("x" * 501, 422), ("x", 302)])
def test_a_note_is_one_to_500_characters(note: str, status: int) -> None:
    submission = an_undecided()
    response = act(
        signed_in("dietitian"), "note-submission", submission, note=note, person="nobody"
    )
    assert response.status_code == status
    assert SubmissionNote.objects.count() == (status == 302)
    if status == 422:
        html = response.content.decode()
        assert f'<a href="#note-{submission.pk}">Note: ' in html
        assert 'role="alert" tabindex="-1" autofocus' in html
        assert f"{note}</textarea>" in html
        assert 'value="nobody" required checked' in html


# --- undoing -------------------------------------------------------------------------------------


def test_undo_needs_a_reason_and_revokes_the_clearance() -> None:
    submission = an_undecided()
    client = signed_in("dietitian")
    decide(client, submission, owner(submission).pk)
    response = undo(client, submission, "")
    assert response.status_code == 422
    assert "<details open><summary>Undo this decision" in response.content.decode()
    undo(client, submission, "It was her cousin.")
    assert Revocation.objects.get().reason == "It was her cousin."
    html = page(client, submission)
    assert "Undone: Marta Quill waits for a decision again. The clearance of" in html
    assert "Whose quiz is this?" in html
    for shown in (review(client), page(client, submission)):
        assert re.search(r"Undone by dietitian \d+, .{10,40}: It was her cousin\.", words(shown))


def test_undone_meanwhile_says_so_and_keeps_the_reason() -> None:
    submission = an_undecided()
    first = signed_in(a_member("dietitian", name="Imogen Tallis"))
    decide(first, submission, owner(submission).pk)
    undo(first, submission, "It was her cousin.")
    response = undo(signed_in("clinician"), submission, "again, from an old page")
    assert response.status_code == 409
    html = response.content.decode()
    assert "Imogen Tallis" in html
    assert "“It was her cousin.”" in html
    assert "You wanted: undo the decision." in html
    assert "again, from an old page</textarea>" in html
    assert submission.decisions.count() == 2


def test_an_old_page_does_not_undo_what_it_never_showed() -> None:
    """Promise S4: undone and decided anew meanwhile; the page tells what is in force now."""
    submission = an_undecided()
    other = a_patient(given_names="Marta", family_names="Other", birth_date=date(1980, 4, 5))
    client = signed_in(a_member("dietitian", name="Imogen Tallis"))
    decide(client, submission, owner(submission).pk)
    html = page(client, submission)
    shown = submission.decisions.get().pk
    assert f'name="decision" value="{shown}"' in html
    undo(client, submission, "It was her cousin.", decision=shown)
    decide(client, submission, other.pk)
    response = undo(signed_in("clinician"), submission, "Not hers, she says.", decision=shown)
    assert response.status_code == 409
    html = response.content.decode()
    assert "matched by staff : Marta Other" in words(html)
    assert "Not hers, she says.</textarea>" in html
    assert Clearance.objects.get(revocation__isnull=True).patient == other


def test_an_automatic_match_can_be_undone_and_then_a_person_decides() -> None:
    assignment = an_assigned()
    invitation, _ = an_invitation(assignment=assignment)
    submission = a_submission(invitation)
    assert submission.decisions.get().verdict == IdentityVerdict.MATCHED_AUTOMATICALLY
    client = signed_in("dietitian")
    undo(client, submission, "no")
    assert "The rule would match it, but a person undid an earlier decision" in page(
        client, submission
    )


def test_it_can_be_undone_as_long_as_the_record_exists() -> None:
    """Two years on: the decided list leads to it, and it is undone."""
    with time_machine.travel(now() - timedelta(days=800)):
        submission = an_undecided()
        decide(signed_in("dietitian"), submission, owner(submission).pk)
    client = signed_in("dietitian")
    html = review(client, "?show=decided")
    assert f'href="{reverse("submission", args=[submission.pk])}"' in html
    assert undo(client, submission, "It was her cousin.").status_code == 302
    assert Revocation.objects.exists()


# --- what fits nobody, and what the register brings about ----------------------------------------


def test_what_fits_nobody_says_that_it_is_asked_again_and_when_it_was_last() -> None:
    chicago = ZoneInfo("America/Chicago")
    with time_machine.travel(datetime(2026, 3, 2, 9, 5, tzinfo=chicago), tick=False):
        submission = an_undecided(given_names="Ottilie", family_names="Brandt")
    with time_machine.travel(datetime(2026, 3, 3, 10, 15, tzinfo=chicago), tick=False):
        client = signed_in("dietitian")
        said = "It is asked again by itself whenever a patient is added or corrected"
        assert f"{said}; last compared on 2 March 2026, 09:05." in page(client, submission)
        a_patient(family_names="Nobody")
        for html in (page(client, submission), review(client)):
            assert "It fits nobody on the register" in html
            assert f"{said}; last compared on 3 March 2026, 10:15." in html
        decide(client, submission, "nobody")
        undo(client, submission, "It may be somebody’s.")
        # What a person undid is left to people.
        assert said not in page(client, submission)
        assert "so a person decides" in page(client, submission)


def test_a_later_match_says_that_the_register_brought_it_about() -> None:
    chicago = ZoneInfo("America/Chicago")
    with time_machine.travel(datetime(2026, 3, 2, 9, 5, tzinfo=chicago), tick=False):
        submission = an_undecided(family_names="Brandt")
    with time_machine.travel(datetime(2026, 3, 4, 10, 15, tzinfo=chicago), tick=False):
        patient = owner(submission)
        correct(patient, at=now(), source="by telephone", family_names="Brandt")
        client = signed_in("dietitian")
        said = "matched automatically, after the register changed"
        assert said in review(client)
        assert said in page(client, submission)
        assert said in client.get(reverse("patient", args=[patient.pk])).content.decode()


def test_one_matched_at_once_says_no_more_than_that() -> None:
    invitation, _ = an_invitation(assignment=an_assigned())
    a_submission(invitation)
    html = review(signed_in("dietitian"))
    assert "matched automatically" in html
    assert "after the register changed" not in html


def test_a_failing_database_never_shows_an_empty_review() -> None:
    """Promise S2: each query in turn fails; no page claims that nothing waits or fits."""
    submission = an_undecided()
    client = signed_in("dietitian")
    for address in (reverse("submissions"), reverse("submission", args=[submission.pk])):
        client.get(address)
        with CaptureQueriesContext(connection) as made:
            client.get(address)
        client.raise_request_exception = False
        for failing in range(len(made)):
            response = failing_at(failing, partial(client.get, address))
            html = response.content.decode()
            assert response.status_code == 503, (address, failing)
            for claim in ("waits for a decision", "Whose quiz is this", "fits nobody", "Decided"):
                assert claim not in html, (address, failing)


# --- who is shown, and to whom --------------------------------------------------------------------


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
    assert rows(html)["MRN"][1:] == [assignment.operation.patient.mrn, "LF-SECOND"]


def test_two_records_that_may_be_one_person_are_pointed_out() -> None:
    assignment = an_assigned(
        given_names="Marta", family_names="Vale", birth_date=date(1980, 4, 5), mrn="LF-1"
    )
    twice = a_patient(
        given_names="Marta", family_names="Vale", birth_date=date(1980, 4, 15), mrn="LF-SECOND"
    )
    find_duplicates(at=now())
    invitation, _ = an_invitation(assignment=assignment)
    submission = a_submission(invitation, given_names="Marta Luz")
    html = page(signed_in("dietitian"), submission)
    assert "a namesake’s date of birth is nearly the one that was typed" in html
    assert "MRN LF-SECOND, may be one person with two records." in words(html)
    address = reverse("merge", args=[assignment.operation.patient_id, twice.pk])
    assert f'href="{address}"' in html
    assert address not in page(signed_in("auditor"), submission)


def test_what_the_rule_would_match_since_the_settings_changed_says_so() -> None:
    member = a_member("administrator").pk
    a_programme(at=now())
    programme.change(at=now(), by_id=member, matching=Policy.NEVER)
    submission = a_submission(an_invitation(assignment=an_assigned())[0])
    programme.change(at=now(), by_id=member, matching=Policy.NAME_AND_BIRTH_DATE)
    html = words(page(signed_in("dietitian"), submission))
    assert "The rule would match it today: the register or the programme’s settings changed" in html
    assert "a person undid" not in html


def test_it_is_not_asked_again_while_a_person_decides_about_each() -> None:
    submission = an_undecided(given_names="Ottilie", family_names="Brandt")
    programme.change(at=now(), by_id=a_member("administrator").pk, matching=Policy.NEVER)
    client = signed_in("dietitian")
    for html in (page(client, submission), review(client)):
        assert "Not matched automatically: " in words(html)
        assert "asked again by itself" not in words(html)


def test_the_nearest_are_not_called_likely(monkeypatch: pytest.MonkeyPatch) -> None:
    submission = an_undecided()
    client = signed_in("dietitian")
    assert "Nobody is likely" not in page(client, submission)
    # A register so small knows nobody far off: only the verdict is made up.
    unlikely = replace(identify.consider(submission), verdict=Verdict.NONE)
    monkeypatch.setattr("clinic.candidates.consider", lambda submission: unlikely)
    a_patient(given_names="Marta", family_names="Ottery", birth_date=date(1980, 4, 5))
    for html in (page(client, submission), review(client)):
        assert "Nobody is likely; the nearest is: Typed on the quiz Candidate 1" in words(html)
        assert "It is asked again by itself" in html


def test_the_register_is_searched_if_nobody_fits() -> None:
    submission = an_undecided()
    wanted = a_patient(given_names="Ottilie", family_names="Brandt", birth_date=date(1950, 1, 1))
    client = signed_in("dietitian")
    assert "Ottilie" not in page(client, submission)
    html = page(client, submission, "?q=brandt")
    assert "Ottilie" in html
    assert "Found by your search Ottilie Brandt" in words(html)
    found = html[html.index("Found by your search") :]
    assert html.index('form="search" id="q"') < html.index('name="note"'), "it would be lost"
    assert "differs" in found
    assert f'value="{wanted.pk}"' in found
    response = decide(client, submission, wanted.pk, q="brandt", note=" ")
    assert response.status_code == 422
    assert "Say how you know: the rule did not think of this patient." in words(
        response.content.decode()
    )
    assert not Clearance.objects.exists()
    decide(client, submission, wanted.pk, q="brandt", note="Her niece typed for her.")
    assert Clearance.objects.get().patient == wanted


@pytest.mark.parametrize("person", ["", "x", "999999", "nobody "])
def test_somebody_who_was_not_shown_cannot_be_chosen(person: str) -> None:
    submission = an_undecided()
    response = decide(signed_in("dietitian"), submission, person, note="kept as typed")
    html = response.content.decode()
    assert response.status_code == 422
    assert "Nothing was decided yet" in html
    assert "kept as typed</textarea>" in html
    assert 'role="alert" tabindex="-1" autofocus' in html
    assert not IdentityDecision.objects.exists()


@pytest.mark.parametrize("role", ["coordinator", "administrator", "auditor"])
def test_readers_see_and_may_not_decide(role: str) -> None:
    submission = an_undecided()
    client = signed_in(role)
    html = page(client, submission)
    assert "A dietitian or a clinician decides." in html
    for printed in (html, review(client)):  # promise S7
        assert re.search(
            r"Printed at \d\d:\d\d C[SD]T, .* \(when the page was loaded\), by", printed
        )
    assert 'type="radio"' not in html
    assert decide(client, submission, owner(submission).pk).status_code == 403


def test_a_typed_name_with_markup_is_shown_as_text() -> None:
    """Fault 27."""
    submission = an_undecided(given_names="<img src=x onerror=alert(1)>")
    html = page(signed_in("dietitian"), submission)
    assert "<img" not in html
    assert "&lt;img" in html
