"""Promise W3 for staff: one form, sent many times at once, acts once and answers the same."""

import pytest
from django.test import Client
from django.urls import reverse

from clinic.models import ActDone, Role
from clinic.once import new_key
from education.models import Invitation, Message
from patients.models import Contact
from tests.education.test_patient_walks import at_once
from tests.factories import an_invitation, signed_in

pytestmark = pytest.mark.django_db(transaction=True)
AT_ONCE = 50


def pressed_at_once(browser: Client, address: str, form: dict[str, str]) -> set[tuple[int, str]]:
    """Send one form from fifty copies of a browser together; return the different answers."""

    def press(place: int) -> tuple[int, str]:
        copy = Client()
        copy.cookies = browser.cookies
        answer = copy.post(address, form)
        return answer.status_code, answer.headers.get("Location", "")

    outcomes = at_once(AT_ONCE, press)
    assert not [one for one in outcomes if isinstance(one, Exception)], outcomes
    return set(outcomes)


def test_w3_fifty_presses_of_send_link_make_one_link() -> None:
    invitation, _ = an_invitation()
    before = Invitation.objects.count(), Message.objects.count()
    browser = signed_in(Role.DIETITIAN)
    address = reverse("invite", args=[invitation.assignment_id])
    answers = pressed_at_once(browser, address, {"act_key": new_key(), "back": "/morning/"})
    assert len(answers) == 1
    assert {status for status, _ in answers} == {302}
    assert ActDone.objects.count() == 1
    assert (Invitation.objects.count(), Message.objects.count()) == (before[0] + 1, before[1] + 1)


def test_w3_fifty_presses_of_log_a_contact_log_one() -> None:
    invitation, _ = an_invitation()
    patient = invitation.assignment.operation.patient
    browser = signed_in(Role.DIETITIAN)
    address = reverse("log-contact", args=[patient.pk])
    form = {"act_key": new_key(), "back": "/morning/", "means": "call", "outcome": "no_answer"}
    answers = pressed_at_once(browser, address, form)
    assert len(answers) == 1
    assert {status for status, _ in answers} == {302}
    assert Contact.objects.filter(patient=patient).count() == 1
