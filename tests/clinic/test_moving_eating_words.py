"""What another date or booking would do to the eating plan, said before it is saved.

The expected days are counted by hand: a 14-day plan is day -14 to day -1 (standards rows DAT-1 and
DAT-6, common practice); the weekdays are the calendar's.
"""

from collections.abc import Iterator
from datetime import date, datetime, timedelta

import pytest
import time_machine
from django.urls import reverse

from clinic.models import Role
from clinic.moving import preview
from clinic.moving_eating_words import sentences
from education import stage_tables
from education.eating_record import choose, give
from education.models import GivenBy, Message
from education.plan_moves import PLAN_MOVED
from education.plan_of import plan_of
from patients.clock import now
from patients.models import Booking, Operation
from patients.register import correct
from patients.schedule import change
from tests.factories import a_member, a_plan_link, a_programme, an_operation, signed_in

pytestmark = pytest.mark.django_db

NOON = datetime.fromisoformat("2027-02-20T18:00:00+00:00")  # 20 February in Chicago
OR_DATE = date(2027, 3, 10)  # its plan begins on Wednesday 24 February


@pytest.fixture
def operation() -> Iterator[Operation]:
    with time_machine.travel(NOON, tick=False):
        a_programme()
        stage_tables.found(at=now())
        yield an_operation(days_ahead=None, or_date=OR_DATE)


def given_on_paper(operation: Operation) -> None:
    table = stage_tables.current()
    assert table
    give(operation, table, GivenBy.PRINT, at=now(), by_id=a_member(Role.DIETITIAN).pk)


def would(
    operation: Operation, or_date: date | None = OR_DATE, booking: Booking = Booking.PROPOSED
) -> str:
    operation.refresh_from_db()
    found = preview(operation, or_date=or_date, booking=booking, at=now()).eating
    assert found
    return " ".join(sentences(found))


def test_a_later_date_names_the_new_first_day_and_the_old_one(operation: Operation) -> None:
    said = would(operation, date(2027, 3, 24))
    assert (
        "first day would be Wednesday 10 March 2027, instead of Wednesday 24 February 2027." in said
    )
    assert "too few" not in said
    assert "no copy of the plan yet" in said


def test_too_few_days_left(operation: Operation) -> None:
    """DAT-6: an operation in 9 days, for a plan of 14."""
    said = would(operation, date(2027, 3, 1))
    assert "first day would be Saturday 20 February 2027, today, instead of" in said
    assert (
        "5 days too few: the stages ask for 14 days before the OR date, and 9 would be left" in said
    )


def test_days_followed_for_the_date_before_count_for_a_date_nearby(operation: Operation) -> None:
    """DAT-5; what the preview says is what the plan says once it is done."""
    given_on_paper(operation)
    with time_machine.travel(NOON + timedelta(days=10), tick=False):  # 2 March, begun 24 February
        said = would(operation, date(2027, 3, 12))
        assert "first day would be Friday 26 February 2027" in said
        assert "too few" not in said
        assert "6 days behind the patient it would be 16 days of it before the operation" in said
        change(operation, at=now(), or_date=date(2027, 3, 12))
        operation.refresh_from_db()
        found = plan_of(operation, at=now())
        assert found
        assert (found.plan.days[0].day, found.plan.short) == (date(2027, 2, 26), 0)
        assert found.plan.restricted == 16


def test_copies_become_void_and_good_again(operation: Operation) -> None:
    given_on_paper(operation)
    said = would(operation, date(2027, 3, 24))
    assert "Would be void: the copy on paper of 20 February 2027." in said
    assert "An email would tell the patient that the dates of the plan are others." in said
    change(operation, at=now(), or_date=date(2027, 3, 24))
    said = would(operation, OR_DATE)
    assert "Would be good again: the copy on paper of 20 February 2027." in said
    assert "Would be void" not in said
    assert "Would be void" not in would(operation, date(2027, 3, 24))


@pytest.mark.parametrize("email", ["", "reader@example.org"])
def test_who_would_be_told_is_who_is_told(operation: Operation, email: str) -> None:
    """The preview and the act tell by the same conditions."""
    correct(operation.patient, at=now(), source="by hand", email=email)
    given_on_paper(operation)
    said = would(operation, date(2027, 3, 24))
    assert ("An email would tell" in said) is bool(email)
    assert ("Somebody has to tell the patient, who has no email" in said) is (not email)
    assert "tell the patient not to follow it" in would(operation, booking=Booking.CANCELLED)
    change(operation, at=now(), or_date=date(2027, 3, 24))
    assert Message.objects.filter(purpose=PLAN_MOVED).exists() is bool(email)


def test_who_eats_by_it_already_has_to_be_told(operation: Operation) -> None:
    """DAT-5: a moved date can silently double the diet, so the days are added up."""
    given_on_paper(operation)
    with time_machine.travel(NOON + timedelta(days=10), tick=False):
        said = would(operation, date(2027, 4, 7))
        assert "may be following it already: today is its day 7" in said
        assert "6 days behind the patient it would be 20 days of it before the operation" in said
        assert "what to eat from now on" in said
        assert "what to eat from now on" not in would(operation, date(2027, 3, 11))
        assert "following it already" in would(operation, booking=Booking.CANCELLED)


def test_postponing_and_cancelling_leave_no_dates(operation: Operation) -> None:
    link, _ = a_plan_link(operation)
    assert link.or_date == OR_DATE
    said = would(operation, None)
    assert "Without an OR date the plan would have no dates. Now its first day is Wednesday" in said
    assert "page behind the emailed link would show no dates any more" in said
    said = would(operation, booking=Booking.CANCELLED)
    assert "With the operation cancelled the plan would have no dates." in said
    assert "link to the plan would stop working" in said


def test_reviving_says_how_many_days_are_left(operation: Operation) -> None:
    change(operation, at=now(), booking=Booking.CANCELLED)
    with time_machine.travel(NOON + timedelta(days=10), tick=False):
        said = would(operation)
    assert "first day would be Tuesday 2 March 2027, today." in said
    assert "6 days too few" in said


def test_what_holds_the_plan_is_said(operation: Operation) -> None:
    said = would(operation, date(2027, 3, 24))
    assert "As it stands no plan may be given: Not every medicine" in said
    a_plan_link(operation)
    assert "No clinician has signed the programme’s stages" in would(operation, date(2027, 3, 24))
    table = stage_tables.current()
    assert table
    stage_tables.sign(table, at=now(), by_id=a_member(Role.CLINICIAN).pk)
    assert "No clinician has signed" not in would(operation, date(2027, 3, 24))


def test_a_solid_meal_that_would_be_too_early_is_named_and_an_old_problem_is_not(
    operation: Operation,
) -> None:
    choose(operation, meals=[-13, -4], nights=1, first_visit_days=14, at=now(), by_id=None)
    said = would(operation, date(2027, 3, 2))  # 10 days away, so day -13 is past
    assert "solid meal on 17 February is before the plan starts" in said
    assert "problem" not in would(operation, date(2027, 3, 24))


@pytest.mark.parametrize(
    "name, asked",
    [
        ("operation-move", {"or_date": "2027-03-24"}),
        ("operation-booking", {"booking": "cancelled"}),
    ],
)
def test_both_pages_show_it(operation: Operation, name: str, asked: dict[str, str]) -> None:
    page = signed_in(Role.COORDINATOR).get(reverse(name, args=[operation.pk]), asked)
    text = page.content.decode()
    assert f"/patients/{operation.patient_id}/eating-plan/" in text
    assert "Wednesday 24 February 2027" in text
