"""Emails that wait when a date moves: which go out, which are withdrawn (fault 11)."""

from datetime import timedelta

import pytest

from education.invite import invite
from education.models import Assignment, Invitation, Message, MessageState
from education.personal_link import issue_token
from education.rules.standing import Reason
from education.send import send
from education.standings import standing_of
from patients import programme
from patients.clock import now
from patients.models import Booking
from patients.schedule import change, move
from tests.factories import an_assignment

pytestmark = pytest.mark.django_db


@pytest.fixture
def invitation() -> Invitation:
    """Written, and its email waits for a minute, as after sending to several."""
    made = invite(an_assignment(), at=now(), not_before=now() + timedelta(minutes=1))
    assert isinstance(made, Invitation)
    return made


def state() -> str:
    return Message.objects.get().state


def reasons() -> tuple[Reason, ...]:
    row = Assignment.objects.select_related("operation", "module").get()
    return standing_of(row, on=programme.local_day(now())).answer.reasons


@pytest.mark.parametrize(
    "days, expected, why",
    [
        (1, MessageState.WAITING, "the window is open on the new date too"),
        (60, MessageState.WITHDRAWN, "a quiz passed today would be too old"),
        (None, MessageState.WITHDRAWN, "without a date there is no window"),
    ],
)
def test_a_moved_date_withdraws_what_would_be_taken_too_early(
    invitation: Invitation, days: int | None, expected: str, why: str
) -> None:
    operation = invitation.assignment.operation
    assert operation.or_date
    move(operation, None if days is None else operation.or_date + timedelta(days=days), at=now())
    assert state() == expected, why


def test_a_cancelled_operation_withdraws_it_and_reviving_asks_for_a_new_link(
    invitation: Invitation,
) -> None:
    operation = invitation.assignment.operation
    change(operation, at=now(), booking=Booking.CANCELLED)
    assert state() == MessageState.WITHDRAWN
    change(operation, at=now(), booking=Booking.PROPOSED)
    assert reasons() == (Reason.NEVER_INVITED,)


def test_what_went_out_stays_out(invitation: Invitation) -> None:
    later = now() + timedelta(minutes=2)
    send(Message.objects.get().pk, at=later)
    move(invitation.assignment.operation, None, at=later)
    assert state() == MessageState.SENT
    assert not hasattr(Invitation.objects.get(), "end")


def test_what_was_tried_once_may_have_arrived_so_its_link_stays(invitation: Invitation) -> None:
    issue_token(invitation, at=now())
    move(invitation.assignment.operation, None, at=now())
    assert state() == MessageState.WAITING
