"""A patient's page: the whole history, the record as it stood, and the acts on one patient."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from clinic.models import TrailEntry
from clinic.once import new_key
from education.clear import clear_by_teach_back, revoke_waiver, sign_off, waive
from education.drawn import asked_of
from education.models import Assignment, Clearance, Invitation, Revocation, Waiver, WaiverRevocation
from education.personal_link import LinkState, open_link
from patients import programme
from patients.clock import local_date, now
from patients.contact import log_contact
from patients.models import Contact, Means, Outcome, Patient
from patients.register import correct
from patients.schedule import move
from tests.factories import (
    a_member,
    a_patient,
    a_programme,
    a_submission,
    all_understood,
    an_assignment,
    an_edition,
    an_invitation,
    an_operation,
    days_ago,
    signed_in,
)
from tests.rendered_forms import form_to

pytestmark = pytest.mark.django_db


def an_assigned(**facts: Any) -> Assignment:
    """A patient with an operation in 20 days whose module is due in 13; enrolled 30 days ago."""
    at = days_ago(30)
    a_programme(at=at - timedelta(days=1))
    operation = an_operation(patient=a_patient(at=at, **facts), at=at, days_ahead=50)
    return an_assignment(operation=operation, module=an_edition(at=at).module, at=at)


def page(client: Client, patient: Patient, query: str = "") -> str:
    response = client.get(reverse("patient", args=[patient.pk]) + query)
    assert response.status_code == 200
    return response.content.decode()


def do(client: Client, name: str, pk: int, **given: Any) -> Any:
    return client.post(reverse(name, args=[pk]), {"act_key": new_key(), **given})


def test_the_history_tells_everything_that_happened() -> None:
    assignment = an_assigned()
    patient = assignment.operation.patient
    member = a_member("dietitian", name="Imogen Tallis")
    at = days_ago(20)
    correct(
        patient,
        at=at,
        source="said so on the phone",
        by_id=member.pk,
        phone="312 555 0100",
    )
    move(
        assignment.operation,
        programme.local_day(now()) + timedelta(days=25),
        at=at,
        reason="The room was needed.",
    )
    invitation, _ = an_invitation(assignment=assignment, at=at)
    a_submission(invitation, wrong=3, at=at)
    a_submission(invitation, at=at + timedelta(days=1))
    log_contact(
        patient,
        means=Means.CALL,
        outcome=Outcome.LEFT_A_MESSAGE,
        at=at,
        by_id=member.pk,
        note="With her son.",
    )
    html = page(signed_in("auditor"), patient)
    for said in (
        "enrolled", "record corrected", "said so on the phone", "operation booked",
        "OR date moved", "The room was needed.", "link sent", "quiz begun", "quiz handed in",
        "failed", "passed", "matched automatically", "by the identity rule", "cleared",
        "left a message", "With her son.", "Imogen Tallis",
    ):  # fmt: skip
        assert said in html, said
    moved = html[html.index("OR date moved") :]
    before = programme.local_day(now()) + timedelta(days=20)
    after = before + timedelta(days=5)
    assert f"from {before.day} {before:%B %Y} to {after.day} {after:%B %Y}" in moved


def test_the_number_of_queries_does_not_grow_with_the_history(
    django_assert_max_num_queries: Any,
) -> None:
    assignment = an_assigned()
    patient = assignment.operation.patient
    member = a_member("dietitian")
    for _ in range(40):
        log_contact(patient, means=Means.CALL, outcome=Outcome.NO_ANSWER, at=now(), by_id=member.pk)
    client = signed_in(member)
    page(client, patient)
    with django_assert_max_num_queries(65):
        page(client, patient)


def test_as_it_stood_on_a_past_day_is_unchanged_by_what_came_later() -> None:
    """Promise C5 on the page."""
    assignment = an_assigned(family_names="Before")
    patient = assignment.operation.patient
    at = now() - timedelta(days=10)
    clear_by_teach_back(
        patient, assignment.module, at=at, by_id=a_member("dietitian").pk, note="all"
    )
    correct(patient, at=now(), source="married", family_names="Afterwards")
    client = signed_in("dietitian")
    zone = programme.current().zone
    day_before = local_date(at - timedelta(days=1), zone).isoformat()
    then = page(client, patient, f"?on={day_before}")
    assert "As it stood at the end of" in then
    assert "Before</h1>" in then
    assert "not invited yet" in then
    assert "teach-back seen by staff" not in then
    assert "formaction" not in then, "nothing can be done to a past day"
    today = page(client, patient)
    assert "Afterwards</h1>" in today
    assert "teach-back seen by staff" in today


@pytest.mark.parametrize(
    "query, said",
    [
        ("?on=31-12-2026", "This is not a day"),
        ("?on=1999-01-01", "Not on the register on that day."),
        ("?on=2999-01-01", "That day is still to come."),
    ],
)
def test_a_day_that_cannot_be_shown_says_so(query: str, said: str) -> None:
    assignment = an_assigned()
    assert said in page(signed_in("dietitian"), assignment.operation.patient, query)


def test_the_page_is_in_the_trail() -> None:
    patient = an_assigned().operation.patient
    page(signed_in("auditor"), patient)
    entry = TrailEntry.objects.latest("id")
    assert (entry.act, entry.patient_id) == ("GET patient", patient.pk)


def test_an_address_corrected_after_sending_kills_the_link_and_the_page_says_so() -> None:
    """Fault 28."""
    assignment = an_assigned(email="old@example.org")
    patient = assignment.operation.patient
    _, token = an_invitation(assignment=assignment)
    client = signed_in("dietitian")
    form = client.get(reverse("correct-patient", args=[patient.pk])).content.decode()
    assert "1 link is open." in form
    assert open_link(Invitation, token, at=now()).state == LinkState.GOOD
    response = do(
        client,
        "correct-patient",
        patient.pk,
        given_names=patient.given_names,
        family_names=patient.family_names,
        birth_date=patient.birth_date.isoformat(),
        email="new@example.org",
        phone=patient.phone,
        language="es",
        source="patient, by phone",
    )
    assert open_link(Invitation, token, at=now()).state == LinkState.ENDED
    html = client.get(response["Location"]).content.decode()
    assert "1 link is now dead" in html
    assert "old@example.org → new@example.org" in html
    assert "English → Spanish" in html


def test_a_family_sharing_one_address_keeps_its_links_apart() -> None:
    """Fault 28: each link is bound to its own patient."""
    first = an_assigned(email="home@example.org")
    at = now() - timedelta(days=30)
    other = an_operation(patient=a_patient(at=at, email="home@example.org"), at=at, days_ahead=50)
    second = Assignment.objects.get(operation=other)
    (a, token), (b, _) = an_invitation(assignment=first), an_invitation(assignment=second)
    assert a.address == b.address
    correct(other.patient, at=now(), source="moved out", email="own@example.org")
    assert open_link(Invitation, token, at=now()).state == LinkState.GOOD
    assert str(a.address) in page(signed_in("dietitian"), first.operation.patient)


@pytest.mark.parametrize(
    "wrong, said",
    [
        ({"birth_date": "2999-01-01"}, "This day is in the future."),
        ({"birth_date": "1890-01-01"}, "The year is before 1900."),
        ({"birth_date": "31 February"}, "Enter a valid date."),
        ({"email": "not an address"}, "Enter a valid email address."),
        ({"given_names": "x" * 201}, "at most 200 characters"),
        ({"given_names": "nul\x00l"}, "Null characters are not allowed."),
        ({"source": ""}, "This field is required."),
    ],
)
def test_a_wrong_correction_keeps_what_was_typed_and_writes_nothing(
    wrong: dict[str, str], said: str
) -> None:
    patient = an_assigned().operation.patient
    given = {
        "given_names": "Typed",
        "family_names": "Afresh",
        "birth_date": "1980-02-03",
        "email": "typed@example.org",
        "phone": "",
        "language": "en",
        "source": "asked",
    }
    response = do(signed_in("dietitian"), "correct-patient", patient.pk, **{**given, **wrong})
    html = response.content.decode()
    assert response.status_code == 422
    assert said in html
    assert 'id="problems"' in html
    assert "Afresh" in html
    assert patient.changes.count() == 1


def test_what_somebody_else_corrected_while_the_page_was_open_stays() -> None:
    """Else a new phone number brings back the date of birth that was just put right."""
    patient = an_assigned(birth_date=date(1980, 4, 5)).operation.patient
    client, address = signed_in("dietitian"), reverse("correct-patient", args=[patient.pk])
    shown = form_to(client.get(address), "") | {"language": "en", "source": "a call"}
    correct(patient, at=now(), source="her passport", birth_date=date(1980, 5, 4))
    assert client.post(address, shown | {"phone": "303 555 0199"}).status_code == 302
    patient.refresh_from_db()
    assert (patient.birth_date, patient.phone) == (date(1980, 5, 4), "303 555 0199")
    assert len(patient.changes.all()) == 3


def test_a_correction_says_which_matched_quizzes_do_not_agree_any_more() -> None:
    assignment = an_assigned(given_names="Marta", family_names="Vale")
    a_submission(an_invitation(assignment=assignment)[0])
    patient, client = assignment.operation.patient, signed_in("dietitian")
    address = reverse("correct-patient", args=[patient.pk])
    for changed, said in (({"phone": "303 555 0199"}, False), ({"birth_date": "1971-05-09"}, True)):
        form = form_to(client.get(address), "") | {"language": "en", "source": "a call"}
        response = client.post(address, form | changed, follow=True)
        told = "does not agree with the record any more, typed as Marta Vale: look whether"
        assert (told in response.content.decode()) is said


def test_teach_back_needs_what_the_patient_said() -> None:
    assignment = an_assigned()
    client = signed_in("dietitian")
    unsaid = {**all_understood(assignment), "said-insulin": "  "}
    refused = do(client, "teach-back", assignment.pk, **unsaid)
    assert refused.status_code == 422
    assert not Clearance.objects.exists()
    said = {**all_understood(assignment), "said-insulin": "Sips, not gulps, she says."}
    done = do(client, "teach-back", assignment.pk, **said)
    html = client.get(done["Location"]).content.decode()
    assert "It stands at: cleared." in html
    assert "Sips, not gulps, she says." in html


def test_teach_back_before_the_window_opens_warns_that_it_will_not_count() -> None:
    operation = an_operation(days_ahead=90)
    assignment = an_assignment(operation=operation, module=an_edition().module)
    sheet = reverse("teach-back", args=[assignment.pk])
    html = signed_in("dietitian").get(sheet, follow=True).content.decode()
    assert "a clearance today will not count" in html


def test_a_clearance_revoked_with_a_reason_stops_counting() -> None:
    assignment = an_assigned()
    patient = assignment.operation.patient
    clearance = clear_by_teach_back(
        patient, assignment.module, at=now(), by_id=a_member("dietitian").pk, note="all"
    )
    client = signed_in("dietitian")
    assert do(client, "revoke-clearance", clearance.pk, reason="").status_code == 422
    key = new_key()
    for _ in range(2):  # promise W3
        client.post(
            reverse("revoke-clearance", args=[clearance.pk]),
            {"act_key": key, "reason": "It was her sister."},
        )
    assert Revocation.objects.count() == 1
    html = page(client, patient)
    assert "clearance revoked" in html
    assert "It was her sister." in html
    assert "not invited yet" in html


def test_one_clears_while_another_revokes_and_both_stay_on_record() -> None:
    """Fault 10: the page is older than the record, and the second revocation is the first."""
    assignment = an_assigned()
    clearance = clear_by_teach_back(
        assignment.operation.patient,
        assignment.module,
        at=now(),
        by_id=a_member("dietitian").pk,
        note="all",
    )
    first, second = signed_in("dietitian"), signed_in("clinician")
    do(first, "revoke-clearance", clearance.pk, reason="first reason")
    do(second, "teach-back", assignment.pk, **all_understood(assignment))
    do(second, "revoke-clearance", clearance.pk, reason="second reason")
    assert Revocation.objects.get().reason == "first reason"
    assert Clearance.objects.filter(revocation__isnull=True).count() == 1
    assert "teach-back seen by staff" in page(first, assignment.operation.patient)


def test_a_waiver_clears_until_it_is_taken_back() -> None:
    assignment = an_assigned()
    client = signed_in("clinician")
    done = do(client, "waive", assignment.pk, reason="Taught on the ward.")
    do(client, "waive", assignment.pk, reason="Once more, from an old page.")
    assert Waiver.objects.count() == 1
    assert "waived by a clinician" in client.get(done["Location"]).content.decode()
    do(client, "revoke-waiver", Waiver.objects.get().pk, reason="Another patient was meant.")
    assert WaiverRevocation.objects.count() == 1
    assert "not invited yet" in page(client, assignment.operation.patient)


@pytest.mark.parametrize("role", ["coordinator", "administrator", "auditor"])
def test_readers_read_and_may_not_act(role: str) -> None:
    assignment = an_assigned()
    patient = assignment.operation.patient
    waiver = waive(assignment, reason="x", at=now(), by_id=a_member("clinician").pk)
    client = signed_in(role)
    html = page(client, patient)
    assert "formaction" not in html
    assert reverse("correct-patient", args=[patient.pk]) not in html
    for name, pk in (
        ("invite", assignment.pk), ("log-contact", patient.pk), ("teach-back", assignment.pk),
        ("waive", assignment.pk), ("sign-off", assignment.pk), ("revoke-waiver", waiver.pk),
        ("correct-patient", patient.pk),
    ):  # fmt: skip
        assert do(client, name, pk).status_code == 403, name
    assert not Contact.objects.exists()


def test_a_form_without_its_key_does_nothing() -> None:
    assignment = an_assigned()
    response = signed_in("dietitian").post(reverse("invite", args=[assignment.pk]))
    assert response.status_code == 400
    assert not assignment.invitations.exists()


def test_the_call_sheet_shows_what_was_missed_and_how_often() -> None:
    assignment = an_assigned(language="es")
    patient = assignment.operation.patient
    invitation, _ = an_invitation(assignment=assignment)
    a_submission(invitation, wrong=3, at=now() - timedelta(days=2))
    a_submission(invitation, wrong=2, at=now() - timedelta(days=1))
    address = reverse("call-sheet", args=[patient.pk, assignment.pk])
    html = signed_in("dietitian").get(address).content.decode()
    questions = asked_of(invitation.attempts.all()[0])
    for question in questions[-3:]:
        assert question.stem["en"] in html.replace("&#x27;", "'"), question.key
        assert question.stem["es"] in html.replace("&#x27;", "'"), question.key
    assert questions[0].stem["en"] not in html
    assert "Wrong 2 times." in html
    assert "Tell me in your own words" in html
    assert "Spanish" in html


def test_a_call_sheet_of_another_patient_is_not_found() -> None:
    assignment = an_assigned()
    other = a_patient()
    address = reverse("call-sheet", args=[other.pk, assignment.pk])
    assert signed_in("dietitian").get(address).status_code == 404


def test_each_operation_is_drawn_to_scale_with_the_same_in_words() -> None:
    assignment = an_assigned()
    patient = assignment.operation.patient
    member = a_member("dietitian")
    invitation, _ = an_invitation(assignment=assignment, at=now() - timedelta(days=20))
    a_submission(invitation, wrong=3, at=now() - timedelta(days=12))
    a_submission(invitation, at=now() - timedelta(days=4))
    for days in (9, 8, 2):
        log_contact(
            patient,
            means=Means.CALL,
            outcome=Outcome.NO_ANSWER,
            at=now() - timedelta(days=days),
            by_id=member.pk,
        )
    client = signed_in(member)
    html = page(client, patient)
    drawing = html[html.index('<svg class="timeline"') : html.index("</figure>")]
    for kind in ("invited", "failed", "passed", "cleared", "contact"):
        assert f"mark-{kind}" in drawing, kind
    table = drawing[drawing.index("<table") :]
    for words in (
        "OR date",
        "clear by",
        "link sent",
        "quiz failed",
        "quiz passed",
        "cleared, quiz",
    ):
        assert words in table, words
    assert table.count("call, no answer") == 3
    on = local_date(now() - timedelta(days=13), programme.current().zone)
    then = page(client, patient, f"?on={on.isoformat()}")
    assert "mark-invited" in then
    assert "mark-failed" not in then, "the quiz was taken the day after"
    assert "mark-contact" not in then


def test_what_clinicians_accepted_and_took_back_is_drawn_with_who_did() -> None:
    assignment = an_assigned()
    patient = assignment.operation.patient
    clinician = a_member("clinician", name="Ottoline Brask")

    def on_day(ago: int) -> dict[str, Any]:
        return {"at": now() - timedelta(days=ago), "by_id": clinician.pk}

    move(assignment.operation, programme.local_day(now()) + timedelta(days=4), at=now())
    assignment.refresh_from_db()
    clear_by_teach_back(patient, assignment.module, note="all", **on_day(1))
    sign_off(assignment, reason="Heard her.", **on_day(1))
    waived = waive(assignment, reason="Ward.", **on_day(9))
    revoke_waiver(waived, reason="A slip.", **on_day(6))
    client = signed_in("auditor")
    html = page(client, patient)
    drawing = html[html.index('<svg class="timeline"') : html.index("</figure>")]
    for kind in ("signed_off", "waived", "taken_back"):
        assert f"mark-{kind}" in drawing, kind
    table = drawing[drawing.index("<table") :]
    for words in (
        "signed off by Ottoline Brask",
        "waived by Ottoline Brask",
        "waiver taken back by Ottoline Brask",
    ):
        assert words in table, words
    on = local_date(now() - timedelta(days=8), programme.current().zone)
    then = page(client, patient, f"?on={on.isoformat()}")
    assert "mark-waived" in then
    assert "mark-taken_back" not in then
    assert "mark-signed_off" not in then
