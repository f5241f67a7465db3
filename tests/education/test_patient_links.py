"""Links: what opening them does (nothing), when they die, and what they never tell."""

import hashlib
import re
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.apps import apps
from django.core import mail
from django.test import Client, override_settings

from education.invite import Refusal, invite
from education.models import EndedBecause, Invitation, InvitationToken, Message
from education.personal_link import end
from education.send import send
from education.take import begin
from patients.clock import now
from patients.register import correct
from tests.education.phone import NAME_AND_BIRTH, Phone, words
from tests.factories import (
    a_patient,
    a_programme,
    a_submission,
    an_assignment,
    an_invitation,
    an_operation,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def phone() -> Phone:
    return Phone(*an_invitation())


def rows_by_table() -> dict[str, int]:
    """Count the rows of every table, sessions included."""
    return {model._meta.label: model._default_manager.count() for model in apps.get_models()}


PAGES = ["", "1/", "3/", "you/", "check/", "result/", "language/", "?l=es", "?utm=scan"]


def test_w4_a_hundred_get_and_head_requests_change_nothing_and_leave_no_cookie(
    phone: Phone,
) -> None:
    """Fault 1: a mail scanner opens the link, and whatever it finds there, many times."""
    before = rows_by_table()
    for number in range(50):
        page = PAGES[number % len(PAGES)]
        for method in (phone.client.get, phone.client.head):
            response = method(phone.link + page, HTTP_USER_AGENT="MailScanner/1.0")
            assert response.status_code in {200, 303}
            assert not response.cookies
    assert rows_by_table() == before
    assert rows_by_table()["sessions.Session"] == 0


def test_w4_a_strange_session_cookie_makes_no_session(phone: Phone) -> None:
    phone.client.cookies["sessionid"] = "0" * 32
    phone.begin()
    assert phone.open().status_code == 200
    assert rows_by_table()["sessions.Session"] == 0


def test_fault_2_a_scanner_that_submits_the_first_form_empty_begins_nothing(phone: Phone) -> None:
    before = rows_by_table()
    for form in ({}, {"begin": ""}, {"begin": "on"}, {"submit": "yes"}):
        response = phone.client.post(phone.link, form)
        assert response.status_code == 200
        assert "Begin the questions" in words(response)
        assert not response.cookies
    assert rows_by_table() == before


def test_fault_3_opened_in_the_mail_app_and_then_in_the_browser(phone: Phone) -> None:
    browser = Phone(phone.invitation, phone.token)
    phone.open()
    browser.begin()
    browser.answer(1)
    assert "question 2 of 7" in words(phone.open())
    assert phone.begin()["Location"] == f"{phone.link}2/"
    assert phone.invitation.attempts.count() == 1


# --- the life of a link (promise W5) -------------------------------------------------------------


def test_w5_a_token_has_256_bits_and_only_its_digest_is_stored() -> None:
    invitation, token = an_invitation()
    assert len(token) >= 43  # 256 bits in base64 without padding: RFC 4648, section 5
    stored = InvitationToken.objects.get(invitation=invitation)
    assert stored.digest == hashlib.sha256(token.encode()).hexdigest()
    for model in apps.get_models():
        for row in model._default_manager.values():
            assert token not in str(row)


@pytest.mark.parametrize("page", ["", "1/", "you/", "check/", "result/", "language/"])
def test_w5_a_link_is_dead_when_it_expires(page: str) -> None:
    at = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)
    with time_machine.travel(at, tick=False):
        a_programme(link_valid_days=60)
        phone = Phone(*an_invitation())
    with time_machine.travel(at + timedelta(days=60, seconds=-1), tick=False):
        assert phone.open(page).status_code in {200, 303}
    with time_machine.travel(at + timedelta(days=60), tick=False):
        assert phone.open(page).status_code == 410
        assert phone.send(page, begin="yes").status_code == 410


def test_w5_a_link_is_dead_at_once_when_another_replaces_it(phone: Phone) -> None:
    assert not isinstance(invite(phone.invitation.assignment, at=now()), Refusal)
    assert phone.open().status_code == 410


def test_w5_a_link_is_dead_at_once_when_it_is_withdrawn(phone: Phone) -> None:
    end(phone.invitation, EndedBecause.WITHDRAWN, at=now())
    assert phone.open().status_code == 410


def test_w5_a_link_is_dead_at_once_when_the_address_changes(phone: Phone) -> None:
    """Fault 28: whoever has the old mailbox must not get in."""
    patient = phone.invitation.assignment.operation.patient
    correct(patient, at=now(), source="test", email="other@example.org")
    assert phone.open().status_code == 410


@override_settings(PUBLIC_URL="https://quiz.larkfield.example")
def test_w5_the_host_in_a_link_comes_from_the_settings(phone: Phone) -> None:
    message = Message.objects.get(invitation=phone.invitation)
    assert send(message.pk, at=now())
    links = re.findall(r"https?://\S+", str(mail.outbox[0].body))
    assert [link.partition("/q/")[0] for link in links] == ["https://quiz.larkfield.example"]


def test_w5_a_forged_host_gets_no_link_of_its_own(phone: Phone) -> None:
    assert phone.client.get(phone.link, HTTP_HOST="evil.example").status_code == 400
    response = phone.client.post(phone.link, {"begin": "yes"}, HTTP_X_FORWARDED_HOST="evil.example")
    assert response["Location"].startswith("/q/")


@pytest.mark.parametrize("state", ["expired", "ended"])
def test_fault_8_a_dead_link_says_what_to_do_and_whom_to_call_and_nothing_else(state: str) -> None:
    at = now() - timedelta(days=90)
    invitation, token = an_invitation(at=at if state == "expired" else None)
    a_submission(invitation, at=invitation.recorded_at)
    if state == "ended":
        end(invitation, EndedBecause.REPLACED, at=now())
    phone = Phone(invitation, token)
    pages = {words(phone.open(page)) for page in ("", "1/", "you/", "check/", "result/")}
    assert len(pages) == 1
    page = pages.pop()
    assert "call us" in page.lower()
    assert "Llame a Larkfield Programme" in page
    assert "(312) 555-0142" in page
    assert invitation.assignment.module.editions.get().title["en"] not in page
    assert " of 7" not in page


def test_fault_8_a_dead_link_speaks_the_language_of_the_browser_first(phone: Phone) -> None:
    end(phone.invitation, EndedBecause.WITHDRAWN, at=now())
    page = words(phone.open(HTTP_ACCEPT_LANGUAGE="es-MX,es;q=0.9"))
    assert page.index("Este enlace ya no sirve") < page.index("This link has ended")
    assert '<html lang="es">' in page


# --- what a link never tells (promise W6) --------------------------------------------------------


@time_machine.travel(datetime(2027, 1, 12, 15, tzinfo=UTC))  # no month that the forms' hints name
def test_w6_no_page_shows_a_stored_fact_about_the_patient() -> None:
    patient = a_patient(
        mrn="KX-774411",
        given_names="Quilla",
        family_names="Vandersloot",
        birth_date=datetime(1958, 12, 9, tzinfo=UTC).date(),
        email="quilla.v@example.org",
        phone="3125550188",
        language="es",
    )
    operation = an_operation(
        patient=patient, surgeon="Dr. Ismene Falk", facility="Harbour Wing", case_number="C-90210"
    )
    phone = Phone(*an_invitation(assignment=an_assignment(operation=operation)))
    seen = [phone.open(), phone.begin(), phone.open("1/")]
    phone.answer_all()
    seen += [phone.open("you/"), phone.type_name(), phone.open("check/"), phone.hand_in()]
    seen += [phone.open("result/"), phone.open()]
    assert operation.or_date is not None
    facts = [
        "KX-774411",
        "Quilla",
        "Vandersloot",
        "1958",
        "December 9",
        "quilla.v",
        "3125550188",
        "Falk",
        "Harbour Wing",
        "C-90210",
        operation.procedure.name,
        operation.or_date.isoformat(),
        f"{operation.or_date:%B}",
        "operation date",
        "OR date",
    ]
    for response in seen:
        told = words(response) + str(response.headers) + str(response.cookies)
        for fact in facts:
            assert fact not in told, fact
        assert '<html lang="es">' not in told  # her language is a stored fact too


def test_w6_every_id_that_is_swapped_gives_the_same_not_found_page(phone: Phone) -> None:
    other = Phone(*an_invitation(assignment=an_assignment(operation=an_operation())))
    phone.begin()
    begin(other.invitation, at=now())
    foreign = other.invitation.attempts.get().edition.questions.last()
    assert foreign is not None
    foreign_option = foreign.options.first()
    assert foreign_option is not None
    answers = [
        phone.open("0/"),
        phone.open("8/"),
        phone.open("99999999999999999999/"),
        phone.open("edit/"),
        phone.open("1/2/"),
        phone.send("1/", attempt="1", answer=str(foreign_option.pk)),
        phone.send("1/", attempt="1", answer="1 OR 1=1"),
        phone.send("1/", attempt="1", answer="-1"),
        Client().get(f"/q/{phone.token[:-1]}/"),
        Client().get(f"/q/{phone.token}x/"),
        Client().get(f"/q/{phone.token.swapcase()}/you/"),
        Client().get("/q/"),
        Client().get("/q/" + "a" * 5000 + "/"),
        Client().get("/q/%00/1/"),
        Client().post("/q/none/check/", NAME_AND_BIRTH),
        Client().get(f"/q/{Invitation.objects.first()}/"),
    ]
    assert {response.status_code for response in answers} == {404}
    assert len({response.content for response in answers}) == 1
    assert "Larkfield Programme" in words(answers[0])


def test_a_link_without_its_last_slash_still_opens(phone: Phone) -> None:
    response = Client().get(f"/q/{phone.token}", follow=True)
    assert response.status_code == 200


def test_the_not_found_page_needs_no_programme() -> None:
    assert Client().get("/q/none/").status_code == 404


@pytest.mark.parametrize("method", ["put", "patch", "delete", "options", "trace"])
def test_other_methods_are_refused(phone: Phone, method: str) -> None:
    assert getattr(phone.client, method)(phone.link).status_code == 405


def test_the_token_alone_is_leave_enough_for_a_form(phone: Phone) -> None:
    strict = Phone(phone.invitation, phone.token, Client(enforce_csrf_checks=True))
    assert strict.begin()["Location"] == f"{phone.link}1/"
    assert "csrftoken" not in strict.client.cookies
