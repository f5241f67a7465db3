"""The morning list: who needs the dietitian, why and what next.

What it asks the database is in test_morning_asked.py.
"""

import re
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import OperationalError, connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.once import new_key
from education.clear import clear_by_teach_back
from education.models import (
    Assignment,
    Clearance,
    Invitation,
    Message,
    MessageState,
    Module,
    SignOff,
)
from education.send import send, sweep
from patients import programme
from patients.clock import now
from patients.models import Contact
from patients.register import correct
from patients.schedule import change
from tests.factories import (
    a_member,
    a_patient,
    a_procedure,
    a_programme,
    a_submission,
    all_understood,
    an_assignment,
    an_edition,
    an_invitation,
    an_operation,
    signed_in,
)

pytestmark = pytest.mark.django_db
LIST = "/morning/"


def flagged(count: int = 1, **facts: Any) -> list[Assignment]:
    """Patients whose module is due within the notice period, none invited yet."""
    a_programme()
    procedure = a_procedure()
    for _ in range(count):
        an_operation(procedure=procedure, patient=a_patient(**facts), days_ahead=10)
    an_assignment(operation=procedure.operations.all()[0], module=an_edition().module)
    return list(Assignment.objects.filter(closed=False).order_by("id"))


def page(client: Client, address: str = LIST) -> str:
    response = client.get(address)
    assert response.status_code == 200, response.status_code
    return response.content.decode()


def rows(html: str) -> list[str]:
    return re.findall(r'<tr id="row-(\d+)"', html)


# --- how much it costs ---------------------------------------------------------------------------


def test_fifty_rows_are_a_page_of_at_most_150_kb() -> None:
    flagged(60, email="")  # nobody can be mailed: the row with the most on it
    client = signed_in("dietitian")
    html = page(client)
    assert len(rows(html)) == 50
    assert len(html.encode()) <= 150_000
    assert len(rows(page(client, LIST + "?page=2"))) == 10


# --- who needs me, why, and what next ------------------------------------------------------------


def test_the_first_line_says_in_words_how_many_people_need_the_dietitian() -> None:
    flagged(3)
    assert "3 people need you." in page(signed_in("dietitian"))


def test_a_row_names_two_identifiers_the_reason_and_the_next_step() -> None:
    (assignment,) = flagged(
        given_names="Perpetua", family_names="Holm", mrn="LF-77", birth_date=date(1971, 8, 23)
    )
    html = page(signed_in("dietitian"))
    for said in (
        "Perpetua Holm", "MRN LF-77", "born 23 August 1971", "not invited yet", "in 10 days",
        "Sleeve gastrectomy", "Send link", "no contact logged",
    ):  # fmt: skip
        assert said in html, said
    assert f'formaction="{reverse("invite", args=[assignment.pk])}"' in html


def test_whose_clear_by_date_can_still_be_kept_comes_first() -> None:
    a_programme()
    procedure = a_procedure()
    far, near, middle = (an_operation(procedure=procedure, days_ahead=days) for days in (12, 3, 8))
    an_assignment(operation=near, module=an_edition().module)
    order = [
        str(Assignment.objects.get(operation=operation).pk) for operation in (middle, far, near)
    ]
    assert rows(page(signed_in("dietitian"))) == order


def test_an_earlier_clearance_makes_it_not_invited_again_yet() -> None:
    (assignment,) = flagged()
    module = Module.objects.get()
    clear_by_teach_back(
        assignment.operation.patient,
        module,
        at=now() - timedelta(days=80),
        by_id=a_member("dietitian").pk,
        note="said it all",
    )
    html = page(signed_in("dietitian"))
    assert "the earlier clearance is too old for this OR date" in html
    assert "not invited again yet" in html


def test_a_failed_email_offers_the_phone() -> None:
    (assignment,) = flagged(phone="(312) 555-0177")
    an_invitation(assignment=assignment)
    Message.objects.update(state=MessageState.FAILED)
    client = signed_in("dietitian")
    html = page(client)
    assert "email failed" in html
    assert 'href="tel:3125550177"' in html
    assert "Call, then log it" in html
    assert rows(page(client, LIST + "?mail=failed")) == [str(assignment.pk)]


@pytest.mark.parametrize("role, button", [("dietitian", False), ("clinician", True)])
def test_only_a_clinician_signs_off_and_the_dietitian_is_told_who(role: str, button: bool) -> None:
    (assignment,) = late_clearance()
    html = page(signed_in(role))
    assert "cleared 1 day after the clear-by date" in html
    assert ("Sign off this late clearance" in html) is button
    assert ("a clinician signs off" in html) is not button
    assert str(assignment.pk) in rows(html)


def late_clearance() -> list[Assignment]:
    """Cleared yesterday, the clear-by date the day before that, the operation in five days."""
    a_programme()
    an_assignment(
        operation=an_operation(days_ahead=5), module=an_edition().module, clear_by_days=-7
    )
    assignment = Assignment.objects.get()
    clear_by_teach_back(
        assignment.operation.patient,
        assignment.module,
        at=now() - timedelta(days=1),
        by_id=a_member("dietitian").pk,
        note="said it all",
    )
    return [assignment]


@pytest.mark.parametrize("role", ["coordinator", "administrator", "auditor"])
def test_who_only_reads_gets_no_button(role: str) -> None:
    flagged()
    html = page(signed_in(role))
    assert "not invited yet" in html
    assert "formaction" not in html
    assert 'type="checkbox"' not in html


def test_no_standing_is_a_link() -> None:
    """Promise S6: a standing is never clickable; the count beside it is."""
    flagged()
    html = page(signed_in("dietitian"))
    assert not re.search(r"<a[^>]*>\s*<span class=\"standing", html)
    assert '<a href="?standing=due" aria-label="1: list those">1</a>' in html


def test_a_name_with_markup_is_shown_as_text() -> None:
    """Fault 27."""
    flagged(given_names="<b>Bo</b>", family_names="=cmd|' /C calc'!A0")
    html = page(signed_in("dietitian"))
    assert "&lt;b&gt;Bo&lt;/b&gt;" in html
    assert "<b>Bo</b>" not in html


# --- the empty states (promise S2) ---------------------------------------------------------------


def test_nobody_enrolled_says_how_patients_arrive() -> None:
    a_programme()
    html = page(signed_in("dietitian"))
    assert "Nobody is enrolled" in html
    assert "import" in html.lower()
    assert "Everyone is clear" not in html


def test_nothing_required_is_not_everyone_clear() -> None:
    an_operation(days_ahead=10)
    html = page(signed_in("dietitian"))
    assert "Nothing is required of anybody" in html
    assert "1 coming operation is not counted here" in html
    assert "Everyone is clear" not in html


def test_nothing_matches_offers_to_clear_the_filters() -> None:
    flagged()
    html = page(signed_in("dietitian"), LIST + "?q=Nobodyhere")
    assert "Nothing matches" in html
    assert 'href="/morning/">clear the filters' in html
    assert "1 person needs you." in html


def test_everyone_is_clear_says_how_many_and_until_when() -> None:
    a_programme()
    an_assignment(operation=an_operation(days_ahead=50), module=an_edition().module)
    html = page(signed_in("dietitian"))
    expected = programme.local_day(now()) + timedelta(days=50 - 7 - 10)
    assert "Everyone is clear" in html
    assert "0 cleared, 1 not due" in html
    assert f"until {expected.day} {expected:%B %Y}" in html


def test_a_failing_database_never_shows_a_zero() -> None:
    """Promise S2: each query in turn fails; no page claims that everyone is clear."""
    flagged(2)
    client = signed_in("dietitian")
    page(client)  # the first page of a session writes when it was last seen
    with CaptureQueriesContext(connection) as made:
        page(client)
    client.raise_request_exception = False
    for failing in range(len(made)):
        response = failing_at(failing, lambda: client.get(LIST))
        html = response.content.decode()
        assert response.status_code == 503, failing
        assert "Everyone is clear" not in html
        assert "people need you" not in html
        assert 'class="counts"' not in html


def failing_at(number: int, act: Callable[[], Any]) -> Any:
    """Run `act` with its n-th query failing, as a database does that goes away."""
    seen = iter(range(10_000))

    def fail(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        if next(seen) == number:
            raise OperationalError("the database went away")
        return execute(sql, params, many, context)

    with connection.execute_wrapper(fail):
        return act()


# --- acts from the list --------------------------------------------------------------------------


def test_send_link_returns_to_the_same_row_with_a_confirmation_in_it() -> None:
    """Promise S1."""
    (assignment,) = flagged()
    client = signed_in("dietitian")
    response = client.post(
        reverse("invite", args=[assignment.pk]), {"act_key": new_key(), "back": LIST + "?page=1"}
    )
    assert response["Location"] == f"/morning/?page=1#row-{assignment.pk}"
    html = page(client)
    assert f'<tr id="row-{assignment.pk}" tabindex="-1"' in html
    assert html.index("Link on its way to") > html.index(f'id="row-{assignment.pk}"')


@pytest.mark.parametrize("elsewhere", ["https://example.org/", "//example.org/", "javascript:x"])
def test_the_way_back_never_leads_elsewhere(elsewhere: str) -> None:
    (assignment,) = flagged()
    response = signed_in("dietitian").post(
        reverse("invite", args=[assignment.pk]), {"act_key": new_key(), "back": elsewhere}
    )
    assert response["Location"].startswith("/patients/")


def test_a_link_that_cannot_be_sent_says_why() -> None:
    (assignment,) = flagged(email="")
    client = signed_in("dietitian")
    client.post(reverse("invite", args=[assignment.pk]), {"act_key": new_key(), "back": LIST})
    assert "no email address on file" in page(client)
    assert not Invitation.objects.exists()


def test_the_same_button_pressed_twice_acts_once() -> None:
    """Promise W3 for the buttons of the list."""
    (assignment,) = flagged()
    client = signed_in("dietitian")
    patient = assignment.operation.patient_id
    for address, given, records in (
        (reverse("invite", args=[assignment.pk]), {}, Invitation),
        (
            reverse("log-contact", args=[patient]),
            {"means": "call", "outcome": "no_answer"},
            Contact,
        ),
        (reverse("teach-back", args=[assignment.pk]), all_understood(assignment), Clearance),
    ):
        key = new_key()
        answers = [client.post(address, {**given, "act_key": key}) for _ in range(3)]
        assert {a.status_code for a in answers} == {302}
        assert len({a["Location"] for a in answers}) == 1
        assert records.objects.count() == 1, address


def test_a_call_is_logged_by_one_press() -> None:
    (assignment,) = flagged(email="")
    client = signed_in("dietitian")
    again = (programme.local_day(now()) + timedelta(days=3)).isoformat()
    client.post(
        reverse("log-contact", args=[assignment.operation.patient_id]),
        {
            "act_key": new_key(),
            "assignment": assignment.pk,
            "back": LIST,
            "means": "call",
            "outcome": "left_a_message",
            "next_on": again,
        },
    )
    html = page(client)
    assert "Left a message" in html
    assert "again" in html


def test_a_contact_with_a_day_that_is_over_keeps_what_was_typed() -> None:
    (assignment,) = flagged()
    response = signed_in("dietitian").post(
        reverse("log-contact", args=[assignment.operation.patient_id]),
        {
            "act_key": new_key(),
            "means": "call",
            "outcome": "reached",
            "note": "asked about tea",
            "next_on": "2020-01-01",
        },
    )
    html = response.content.decode()
    assert response.status_code == 422
    assert "This day is over." in html
    assert "asked about tea" in html
    assert not Contact.objects.exists()


def test_sign_off_by_a_clinician_takes_the_row_away() -> None:
    (assignment,) = late_clearance()
    client = signed_in("clinician")
    address = reverse("sign-off", args=[assignment.pk])
    client.post(address, {"act_key": new_key(), "back": LIST, "reason": "One day, all known."})
    assert SignOff.objects.count() == 1
    html = page(client)
    assert rows(html) == []
    assert "Signed off" in html
    client.post(address, {"act_key": new_key(), "back": LIST, "reason": "again"})
    assert "Nothing to sign off any more" in page(client)


def test_a_dietitian_may_not_sign_off_or_waive() -> None:
    (assignment,) = late_clearance()
    client = signed_in("dietitian")
    for name in ("sign-off", "waive"):
        given = {"act_key": new_key(), "reason": "x"}
        assert client.post(reverse(name, args=[assignment.pk]), given).status_code == 403


# --- several at once (promise S3) ----------------------------------------------------------------


def test_several_says_how_many_and_who_and_who_not_and_why() -> None:
    first, second = flagged(2)
    correct(second.operation.patient, at=now(), source="asked", email="")
    client = signed_in("dietitian")
    html = page(client, f"{reverse('invite-several')}?a={first.pk}&a={second.pk}")
    assert "Send 1 link?" in html
    assert first.operation.patient.full_name in html
    assert "Cannot be sent: 1" in html
    assert "no email address on file" in html
    assert not Invitation.objects.exists()


def test_several_go_out_after_a_minute_and_can_be_taken_back_until_then() -> None:
    assignments = flagged(3)
    client = signed_in("dietitian")
    given = {"act_key": new_key(), "a": [a.pk for a in assignments]}
    sent = client.post(reverse("invite-several"), given)
    assert Invitation.objects.count() == 3
    assert sweep(at=now()) == 0, "nothing goes out within the minute"
    html = page(client, sent["Location"])
    assert "3 links go out in a minute" in html
    client.post(sent["Location"] + "take-back/", {"act_key": new_key()})
    assert "3 taken back: no email goes out." in page(client, sent["Location"])
    assert sweep(at=now() + timedelta(minutes=2)) == 0
    assert "not invited yet" in page(client)


def test_what_has_gone_out_is_not_taken_back() -> None:
    assignments = flagged(2)
    client = signed_in("dietitian")
    given = {"act_key": new_key(), "a": [a.pk for a in assignments]}
    sent = client.post(reverse("invite-several"), given)
    first = Message.objects.order_by("id")[0]
    assert send(first.pk, at=now() + timedelta(minutes=2))
    client.post(sent["Location"] + "take-back/", {"act_key": new_key()})
    html = page(client, sent["Location"])
    assert "1 taken back" in html
    assert "1 had gone out already" in html


def test_somebody_elses_batch_is_not_mine_to_take_back() -> None:
    (assignment,) = flagged()
    sent = signed_in("dietitian").post(
        reverse("invite-several"), {"act_key": new_key(), "a": [assignment.pk]}
    )
    signed_in("dietitian").post(sent["Location"] + "take-back/", {"act_key": new_key()})
    assert Message.objects.get().state == MessageState.WAITING


def test_a_cancelled_operation_leaves_the_list() -> None:
    (assignment,) = flagged()
    change(assignment.operation, at=now(), booking="cancelled")
    assert rows(page(signed_in("dietitian"))) == []


def test_identity_undecided_leads_to_the_one_submission() -> None:
    (assignment,) = flagged()
    invitation, _ = an_invitation(assignment=assignment)
    submission = a_submission(invitation, family_names="Somebodyelse")
    client = signed_in("dietitian")
    assert "whose it is has not been decided" in page(client)
    response = client.get(f"{reverse('submissions')}?assignment={assignment.pk}")
    assert response["Location"] == reverse("submission", args=[submission.pk])


def test_the_printed_list_has_a_head_row_and_says_when_and_by_whom() -> None:
    """Promise S7."""
    flagged()
    html = page(signed_in(a_member("dietitian", name="Imogen Tallis")))
    assert "<thead>" in html
    assert re.search(r"Printed at .*America/Chicago.*by Imogen Tallis", html)
