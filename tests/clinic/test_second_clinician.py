"""What the second clinician sees and does: on the morning list, the pages, and the form."""

from typing import Any

import pytest
from django.urls import reverse

from clinic.models import StaffUser
from education import clear
from education.models import Assignment, SecondOpinion, SignOffRevocation
from education.rules.standing import Standing
from education.standings import standing_of
from patients import programme
from patients.clock import now
from tests.factories import a_member, a_programme, an_assignment, an_operation, signed_in
from tests.rendered_forms import form_to

pytestmark = pytest.mark.django_db


@pytest.fixture
def first() -> StaffUser:
    return a_member("clinician", name="Ottoline Brask")


@pytest.fixture
def second() -> StaffUser:
    return a_member("clinician", name="Imre Castellan")


@pytest.fixture
def assignment(first: StaffUser) -> Assignment:
    """Cleared today, a week late: the operation is in three days, and two clinicians are wanted."""
    a_programme(second_clinician=True)
    assignment = an_assignment(operation=an_operation(days_ahead=3), clear_by_days=-10)
    clear.clear_by_teach_back(
        assignment.operation.patient, assignment.module, at=now(), by_id=first.pk, note="all"
    )
    return assignment


def stands(assignment: Assignment) -> Standing:
    fresh = Assignment.objects.select_related("operation").get(pk=assignment.pk)
    return standing_of(fresh, on=programme.local_day(now())).answer.standing


def text(response: Any) -> str:
    return " ".join(response.content.decode().split())


def address(assignment: Assignment) -> str:
    return reverse("second-opinion", args=[assignment.pk])


def sign_off(assignment: Assignment, by: StaffUser) -> str:
    client, act = signed_in(by), reverse("sign-off", args=[assignment.pk])
    shown = form_to(client.get(act), "") | {"reason": "I heard it."}
    return text(client.post(act, shown, follow=True))


@pytest.fixture
def signed(assignment: Assignment, first: StaffUser) -> Assignment:
    assert "It counts once a second clinician has agreed." in sign_off(assignment, first)
    return assignment


def test_it_waits_on_the_morning_list_and_on_both_pages(
    signed: Assignment, second: StaffUser
) -> None:
    client = signed_in(second)
    for page in (
        reverse("morning"),
        reverse("patient", args=[signed.operation.patient_id]),
        reverse("operation", args=[signed.operation_id]),
    ):
        shown = text(client.get(page))
        assert "waits for a second clinician to agree" in shown, page
        assert address(signed) in shown, page


def test_who_accepted_it_is_not_asked_to_agree(signed: Assignment, first: StaffUser) -> None:
    pages = (
        reverse("morning"),
        reverse("patient", args=[signed.operation.patient_id]),
        reverse("operation", args=[signed.operation_id]),
    )
    for who, said in (
        (first, "ou accepted it: another clinician agrees or declines"),
        ("dietitian", "nother clinician than <bdi>Ottoline Brask</bdi> agrees or declines"),
    ):
        client = signed_in(who)
        for page in pages:
            shown = text(client.get(page))
            assert said in shown, page
            assert address(signed) not in shown, page


def test_agreeing_makes_it_count(signed: Assignment, second: StaffUser) -> None:
    client = signed_in(second)
    page = client.get(address(signed))
    assert "Ottoline Brask signed off the late clearance" in text(page)
    assert "The reason: I heard it." in text(page)
    shown = form_to(page, "") | {"answer": "agree", "reason": "So did I."}
    assert "Agreed. It stands at: cleared." in text(
        client.post(address(signed), shown, follow=True)
    )
    assert stands(signed) == Standing.CLEARED
    history = text(client.get(reverse("patient", args=[signed.operation.patient_id])))
    assert "second clinician agreed to the sign-off" in history


def test_declining_takes_a_reason_and_keeps_it_from_counting(
    signed: Assignment, second: StaffUser
) -> None:
    client = signed_in(second)
    shown = form_to(client.get(address(signed)), "") | {"answer": "decline"}
    assert client.post(address(signed), shown | {"reason": " "}).status_code == 422
    assert client.post(address(signed), shown | {"reason": "Not enough."}).status_code == 302
    assert SecondOpinion.objects.get().agrees is False
    assert stands(signed) == Standing.NEEDS_SIGN_OFF


def test_nothing_is_chosen_beforehand(signed: Assignment, second: StaffUser) -> None:
    client = signed_in(second)
    shown = form_to(client.get(address(signed)), "") | {"reason": "Yes."}
    assert client.post(address(signed), shown).status_code == 422
    assert not SecondOpinion.objects.exists()


def test_the_first_clinician_cannot_be_the_second(signed: Assignment, first: StaffUser) -> None:
    client = signed_in(first)
    page = client.get(address(signed), follow=True)
    assert "another clinician has to say" in text(page)


def test_what_was_not_shown_is_not_agreed_to(
    signed: Assignment, first: StaffUser, second: StaffUser
) -> None:
    """A waiver came meanwhile: the page that was shown was about the sign-off (promise S4)."""
    client = signed_in(second)
    shown = form_to(client.get(address(signed)), "")
    clear.waive(signed, reason="Elsewhere.", at=now(), by_id=first.pk)
    answered = client.post(
        address(signed), shown | {"answer": "agree", "reason": "Yes."}, follow=True
    )
    assert "not what you were shown" in text(answered)
    assert not SecondOpinion.objects.exists()


def test_a_sign_off_is_taken_back_on_a_form_with_a_reason(
    assignment: Assignment, first: StaffUser
) -> None:
    programme.change(at=now(), by_id=first.pk, second_clinician=False)
    accepted = clear.sign_off(assignment, reason="heard", at=now(), by_id=first.pk)
    assert stands(assignment) == Standing.CLEARED
    client, act = signed_in(first), reverse("revoke-sign-off", args=[accepted.pk])
    patient = reverse("patient", args=[assignment.operation.patient_id])
    assert act in text(client.get(patient))
    shown = form_to(client.get(act), "")
    assert client.post(act, shown).status_code == 422
    said = text(client.post(act, shown | {"reason": "Misheard."}, follow=True))
    assert "The sign-off is taken back. It stands at: needs sign-off." in said
    assert SignOffRevocation.objects.get().reason == "Misheard."
    assert "sign-off taken back" in text(client.get(patient))
    assert act not in text(client.get(patient))


def test_the_administrator_sets_it_and_the_page_tells_since_when() -> None:
    settings = a_programme()
    assert settings.second_clinician is False
    client = signed_in("administrator")
    act = reverse("programme")
    shown = form_to(client.get(act), "") | {"second_clinician": "on", "matching": settings.matching}
    said = text(client.post(act, shown, follow=True))
    assert programme.current().second_clinician is True
    assert "A second clinician has to agree to each sign-off and waiver: no → yes" in said
