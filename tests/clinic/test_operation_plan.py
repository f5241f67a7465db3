"""Moving, postponing, cancelling and reviving: what it would do is seen first, in words."""

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from clinic.confirm import answer, confirm
from clinic.models import Role, TrailEntry
from education.clear import clear_by_teach_back
from education.eating_record import TypedFacts, record_facts
from education.invite import invite
from education.models import Assignment, Message, MessageState
from education.rules.may_give import Medicine
from education.send import send
from patients import programme
from patients.clock import now
from patients.models import Booking, Operation, OperationChange
from patients.schedule import change
from tests.factories import (
    a_member,
    a_patient,
    a_plan_link,
    an_assignment,
    an_edition,
    an_operation,
    days_ago,
    signed_in,
)
from tests.rendered_forms import form_to

pytestmark = pytest.mark.django_db


@pytest.fixture
def coordinator() -> Client:
    return signed_in(Role.COORDINATOR)


@pytest.fixture
def assignment() -> Assignment:
    """In 20 days, window from 40 days ago to 13 days from now, cleared 30 days ago."""
    at = days_ago(50)
    operation = an_operation(patient=a_patient(at=at), at=at, days_ahead=70)
    assignment = an_assignment(operation=operation, module=an_edition(at=at).module, at=at)
    clear_by_teach_back(
        operation.patient,
        assignment.module,
        at=days_ago(30),
        by_id=a_member(Role.DIETITIAN).pk,
        note="all",
    )
    return assignment


def move_page(operation: Operation) -> str:
    return reverse("operation-move", args=[operation.pk])


def booking_page(operation: Operation) -> str:
    return reverse("operation-booking", args=[operation.pk])


def asked(operation: Operation, days: int) -> dict[str, str]:
    """The form of the move page: so many days from the date that stands."""
    assert operation.or_date
    return {"or_date": (operation.or_date + timedelta(days=days)).isoformat()}


def words(response: Any) -> str:
    return " ".join(response.content.decode().split())


def test_a_clearance_that_would_be_too_old_is_named_with_its_day_and_the_new_window(
    assignment: Assignment, coordinator: Client
) -> None:
    operation = assignment.operation
    text = words(coordinator.get(move_page(operation), asked(operation, 40)))
    cleared = programme.local_day(days_ago(30))
    assert operation.or_date
    opens = operation.or_date + timedelta(days=40 - 60)
    assert "would turn from cleared to not due" in text
    assert f"The clearance of {cleared.day} {cleared:%B %Y} would be too old" in text
    assert f"the window would open on {opens.day} {opens:%B %Y}" in text
    would, _, now_it_is = text.partition("The answer now")
    assert "verdict-hold" in would
    assert "verdict-confirm" in now_it_is


def test_who_would_turn_late_is_said_module_by_module(coordinator: Client) -> None:
    operation = an_assignment().operation
    text = words(coordinator.get(move_page(operation), asked(operation, -15)))
    assert "would turn from not due to late" in text
    assert "Nothing would change" not in text


def test_a_move_that_changes_nothing_says_so(assignment: Assignment, coordinator: Client) -> None:
    operation = assignment.operation
    text = words(coordinator.get(move_page(operation), asked(operation, 1)))
    assert "Nothing would change for the modules." in text


@pytest.mark.parametrize(
    "days, said",
    [
        (-21, "This day has passed."),
        (-15, "A clear-by date for this day has passed already."),
        (-13, "This is short notice"),
        (-5, "This is short notice"),
        (-2, ""),
        (10, ""),
    ],
)
def test_into_the_past_or_on_short_notice_asks_why(
    assignment: Assignment, coordinator: Client, days: int, said: str
) -> None:
    """The programme wants to be warned 10 days before the clear-by date, 7 before the OR date."""
    operation = assignment.operation
    response = coordinator.get(move_page(operation), asked(operation, days))
    text = words(response)
    why = "Say why it is moved all the same."
    assert (said in text and why in text) if said else why not in text
    act = move_page(operation)
    shown = form_to(response, act)
    refused = coordinator.post(act, shown | {"reason": " "})
    assert refused.status_code == 400
    assert "Write down the reason." in words(refused)
    assert OperationChange.objects.count() == 1


def test_the_history_keeps_both_dates_who_why_and_when_and_assignments_follow(
    assignment: Assignment, coordinator: Client
) -> None:
    operation = assignment.operation
    act = move_page(operation)
    shown = form_to(coordinator.get(act, asked(operation, 9)), act)
    response = coordinator.post(act, shown | {"reason": "The room was needed."}, follow=True)
    text = words(response)
    row = OperationChange.objects.latest("id")
    assert operation.or_date
    assert row.or_date == operation.or_date + timedelta(days=9)
    assert row.by
    assert row.by.role == Role.COORDINATOR
    before, after = operation.or_date, row.or_date
    assert f"{before:%a} {before.day} {before:%b %Y} → {after:%a} {after.day} {after:%b %Y}" in text
    assert "The room was needed." in text
    assert Assignment.objects.get().clear_by == row.or_date - timedelta(days=7)
    assert TrailEntry.objects.filter(patient=operation.patient, act="POST operation-move").exists()


def test_a_page_older_than_the_record_moves_nothing(
    assignment: Assignment, coordinator: Client
) -> None:
    """S4: not only the date, also what the preview said about the modules has to be true still."""
    operation = assignment.operation
    act = move_page(operation)
    shown = form_to(coordinator.get(act, asked(operation, 9)), act)
    clear = assignment.operation.patient.clearances.get()
    coordinator_too = signed_in(Role.CLINICIAN)
    coordinator_too.post(
        reverse("revoke-clearance", args=[clear.pk]),
        {"act_key": shown["act_key"][:-4] + "abcd", "reason": "Another patient was meant."},
    )
    response = coordinator.post(act, shown | {"reason": "The room was needed."})
    assert response.status_code == 409
    assert "The room was needed." in words(response), "what was typed is not lost"
    assert Operation.objects.get().or_date == operation.or_date


def test_a_page_older_than_the_eating_plan_moves_nothing(
    assignment: Assignment, coordinator: Client
) -> None:
    """S4: the answer and the modules are as they were; what was said of the eating plan is not."""
    operation = assignment.operation
    act = move_page(operation)
    a_plan_link(operation)
    shown = form_to(coordinator.get(act, asked(operation, 3)), act)
    said: dict[Medicine, bool | None] = {**dict.fromkeys(Medicine, False), Medicine.DIABETES: True}
    facts = TypedFacts("", None, "", None, None, said)
    record_facts(operation.patient, facts, at=now(), by_id=a_member(Role.DIETITIAN).pk)
    response = coordinator.post(act, shown | {"reason": "The room was needed."})
    assert response.status_code == 409
    assert "What the change would do is not what your page showed" in words(response)
    assert Operation.objects.get().or_date == operation.or_date
    seen_now = form_to(coordinator.get(act, asked(operation, 3)), act)
    assert coordinator.post(act, seen_now | {"reason": "Needed."}).status_code == 302


def test_of_two_people_who_move_at_once_the_second_is_shown_both(
    assignment: Assignment, coordinator: Client
) -> None:
    operation, act = assignment.operation, move_page(assignment.operation)
    other = signed_in(Role.CLINICIAN)
    mine = form_to(coordinator.get(act, asked(operation, 5)), act)
    theirs = form_to(other.get(act, asked(operation, 9)), act)
    assert other.post(act, theirs | {"reason": "ward full"}).status_code == 302
    response = coordinator.post(act, mine | {"reason": "surgeon away"})
    assert response.status_code == 409
    assert Operation.objects.get().or_date == operation.or_date + timedelta(days=9)  # type: ignore[operator]
    assert [row.reason for row in OperationChange.objects.all()] == ["", "ward full"]


def test_the_confirmation_that_goes_is_named(assignment: Assignment, coordinator: Client) -> None:
    operation = assignment.operation
    clinician = a_member(Role.CLINICIAN, name="Dr. Priscilla Onwuachi")
    confirm(operation, seen=answer(operation, at=now()).seen, at=now(), by=clinician)
    text = words(coordinator.get(move_page(operation), asked(operation, 1)))
    assert "The confirmation goes." in text
    assert "was confirmed by Dr. Priscilla Onwuachi" in text
    assert "Dr. Priscilla Onwuachi would be told by email" in text
    text = words(coordinator.get(booking_page(operation), {"booking": "done"}))
    assert "The confirmation goes." not in text


def test_whoever_confirmed_is_told_as_the_preview_said(
    assignment: Assignment, coordinator: Client
) -> None:
    operation = assignment.operation
    clinician = a_member(Role.CLINICIAN)
    confirm(operation, seen=answer(operation, at=now()).seen, at=now(), by=clinician)
    act = move_page(operation)
    shown = form_to(coordinator.get(act, asked(operation, 1)), act)
    coordinator.post(act, shown | {"reason": "The room was needed."})
    assert [message.address for message in Message.objects.all()] == [clinician.email]


# --- links and emails ----------------------------------------------------------------------------


def invited(coordinator: Client, *, sent: bool) -> Operation:
    """An operation in 20 days whose link waits to go out, or went out."""
    assignment = an_assignment()
    invite(assignment, at=now(), not_before=now() + timedelta(minutes=1))
    if sent:
        send(Message.objects.get().pk, at=now() + timedelta(minutes=2))
    return assignment.operation


@pytest.mark.parametrize(
    "sent, days, said",
    [
        (False, 60, "would be withdrawn"),
        (False, 1, "would still go out"),
        (True, 60, "stays open, and a quiz passed before"),
        (True, 1, ""),
    ],
)
def test_moving_says_which_emails_go_out_or_are_withdrawn(
    coordinator: Client, sent: bool, days: int, said: str
) -> None:
    operation = invited(coordinator, sent=sent)
    text = words(coordinator.get(move_page(operation), asked(operation, days)))
    assert said in text if said else "link" not in text.partition("What would change")[2]


def test_cancelling_and_reviving_say_what_becomes_of_the_link(coordinator: Client) -> None:
    operation = invited(coordinator, sent=True)
    text = words(coordinator.get(booking_page(operation), {"booking": "cancelled"}))
    assert "would no longer be asked for" in text
    assert "the link that was sent would stop working" in text
    change(operation, at=now(), booking=Booking.CANCELLED)
    text = words(coordinator.get(booking_page(operation), {"booking": "proposed"}))
    assert "Revive: propose again" in text
    assert "would be asked for" in text
    assert "the link that was sent would work again" in text


def test_cancelling_withdraws_the_email_that_waits(coordinator: Client) -> None:
    operation = invited(coordinator, sent=False)
    act = booking_page(operation)
    response = coordinator.get(act, {"booking": "cancelled"})
    assert "which waits to go out, would be withdrawn" in words(response)
    assert Message.objects.get().state == MessageState.WAITING
    coordinator.post(act, form_to(response, act) | {"reason": "patient moved away"})
    assert Message.objects.get().state == MessageState.WITHDRAWN


@pytest.mark.parametrize("booking", ["", "confirmed", "nonsense"])
def test_a_booking_that_cannot_follow_shows_no_form(
    assignment: Assignment, coordinator: Client, booking: str
) -> None:
    response = coordinator.get(booking_page(assignment.operation), {"booking": booking})
    assert response.status_code == 400
    assert "cannot follow what the operation is now" in words(response)
    assert "<textarea" not in words(response)
