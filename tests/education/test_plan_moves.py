"""Whoever has an eating plan is told that the OR date moved: one row, one email, or a telephone."""

from datetime import date, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.core import mail
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clinic.demo.events import RefusingMailServer
from clinic.models import Role
from education import stage_tables
from education.by_email import ByEmail
from education.models import GivenBy, Message, MessageState, PlanDateTold, ToldBy
from education.plan_moves import PLAN_MOVED, hand_over, latest_told
from education.plan_of import plan_of
from education.plans_wanting import plans_wanting
from education.rules.plan_wants import Want
from education.send import send, sweep
from patients import programme
from patients.clock import now
from patients.contact import log_contact
from patients.models import Booking, Means, Operation, Outcome
from patients.register import correct
from patients.schedule import change, change_all, move
from tests.factories import a_member, a_patient, a_plan_link, an_operation, signed_in

pytestmark = pytest.mark.django_db

NOON = datetime.fromisoformat("2027-02-20T18:00:00+00:00")
OR_DATE = date(2027, 3, 10)
LATER = OR_DATE + timedelta(days=14)


@pytest.fixture
def operation() -> Any:
    with time_machine.travel(NOON, tick=False):
        patient = a_patient(given_names="Rosalind", family_names="Ashdown")
        yield an_operation(patient=patient, days_ahead=None, or_date=OR_DATE)


def notices() -> list[Message]:
    return list(Message.objects.filter(purpose=PLAN_MOVED).order_by("pk"))


def told(operation: Operation) -> list[tuple[str, date | None, date | None]]:
    rows = PlanDateTold.objects.filter(operation=operation)
    return [(row.means, row.before, row.or_date) for row in rows]


def wanted(operation: Operation) -> tuple[Want, ...]:
    found = plans_wanting(at=now(), zone=programme.current().zone)
    return next((one.wants for one in found if one.operation == operation), ())


def test_whoever_has_no_plan_is_not_told(operation: Operation) -> None:
    move(operation, or_date=LATER, at=now())
    assert not notices()


def test_the_move_writes_an_email_and_its_link_beside_the_first(operation: Operation) -> None:
    a_plan_link(operation)
    sweep(at=now())
    mail.outbox.clear()
    move(operation, or_date=LATER, at=now())
    assert told(operation) == [(ToldBy.EMAIL, OR_DATE, LATER)]
    (notice,) = notices()
    assert (notice.state, notice.for_day) == (MessageState.WAITING, date(2027, 2, 20))
    assert send(notice.pk, at=now())
    (sent,) = mail.outbox
    # W10: nothing of health, of the operation, or of whom it is about.
    for word in ("Rosalind", "Ashdown", "operation", "surg", "eating", "diet", "2027", "March"):
        assert word not in sent.subject + str(sent.body), word
    assert len(str(sent.body).split()) <= 120
    assert str(sent.body).count("http") == 1
    assert not operation.plan_links.filter(end__isnull=False).exists()


def test_without_an_address_somebody_tells_by_phone(operation: Operation) -> None:
    a_plan_link(operation)
    sweep(at=now())
    correct(operation.patient, email="", at=now(), source="test")
    move(operation, or_date=LATER, at=now())
    assert told(operation) == [(ToldBy.NOT_YET, OR_DATE, LATER)]
    assert Want.NOT_TOLD in wanted(operation)
    page = signed_in(Role.DIETITIAN).get("/morning/").content.decode()
    assert "was not told that it moved from 10 March 2027 to 24 March 2027" in page
    assert "Told by phone" in page


def test_told_by_phone_it_leaves_the_list(operation: Operation) -> None:
    a_plan_link(operation)
    sweep(at=now())
    correct(operation.patient, email="", at=now(), source="test")
    move(operation, or_date=LATER, at=now())
    client = signed_in(Role.DIETITIAN)
    address = f"/patients/{operation.patient_id}/eating-plan/told/"
    seen = {"act_key": "7f6c4cf0-0f5d-4d2a-9a8b-4f3ad1a9d001", "booking": "proposed"}
    client.post(address, {**seen, "or_date": "2027-03-10"})  # the page was older than the record
    assert Want.NOT_TOLD in wanted(operation)
    seen["act_key"] = "7f6c4cf0-0f5d-4d2a-9a8b-4f3ad1a9d002"
    client.post(address, {**seen, "or_date": "2027-03-24"})
    assert told(operation)[-1] == (ToldBy.PHONE, OR_DATE, LATER)
    assert Want.NOT_TOLD not in wanted(operation)


def test_an_email_that_fails_is_a_step_too(operation: Operation) -> None:
    a_plan_link(operation)
    sweep(at=now())
    move(operation, or_date=LATER, at=now())
    (notice,) = notices()
    send(notice.pk, at=now(), channel=ByEmail(RefusingMailServer()))
    assert wanted(operation)[:1] == (Want.NOT_TOLD,)


def test_moved_twice_before_the_email_went_out_it_is_one(operation: Operation) -> None:
    a_plan_link(operation)
    sweep(at=now())
    move(operation, or_date=LATER, at=now())
    move(operation, or_date=LATER + timedelta(days=7), at=now())
    assert [one.state for one in notices()] == [MessageState.WITHDRAWN, MessageState.WAITING]
    # What the patient knows of is the first date: nothing of the second went out.
    assert told(operation)[-1] == (ToldBy.EMAIL, OR_DATE, LATER + timedelta(days=7))
    assert sweep(at=now()) == 1


def test_moved_back_before_the_email_went_out_nobody_is_told(operation: Operation) -> None:
    a_plan_link(operation)
    sweep(at=now())
    move(operation, or_date=LATER, at=now())
    move(operation, or_date=OR_DATE, at=now())
    assert told(operation)[-1] == (ToldBy.NOT_NEEDED, OR_DATE, OR_DATE)
    assert sweep(at=now()) == 0


def test_moved_again_after_the_email_the_next_one_is_for_tomorrow(operation: Operation) -> None:
    """One a patient, purpose and local day."""
    a_plan_link(operation)
    sweep(at=now())
    move(operation, or_date=LATER, at=now())
    sweep(at=now())
    move(operation, or_date=OR_DATE, at=now())
    assert [one.for_day for one in notices()] == [date(2027, 2, 20), date(2027, 2, 21)]
    assert notices()[1].next_try_at == datetime.fromisoformat("2027-02-21T14:00:00+00:00")  # 8:00
    assert sweep(at=now()) == 0


def test_a_move_never_fails_for_its_email(
    operation: Operation, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another operation of the patient moved at the same moment, unseen: the telephone tells."""
    a_plan_link(operation)
    sweep(at=now())
    move(operation, or_date=LATER, at=now())
    sweep(at=now())
    monkeypatch.setattr("education.plan_moves._days_taken", lambda *_: set())
    move(operation, or_date=OR_DATE, at=now())
    assert told(operation)[-1] == (ToldBy.NOT_YET, LATER, OR_DATE)
    assert len(notices()) == 1


def test_postponed_and_cancelled(operation: Operation) -> None:
    a_plan_link(operation)
    sweep(at=now())
    move(operation, or_date=None, at=now())
    assert told(operation) == [(ToldBy.EMAIL, OR_DATE, None)]
    change(operation, or_date=LATER, at=now() + timedelta(days=1))
    change(operation, booking=Booking.CANCELLED, at=now() + timedelta(days=2))
    # Its link opens no more, so no email leads there.
    assert told(operation)[-1][0] == ToldBy.NOT_YET


def test_a_plan_whose_email_failed_counts_as_none(operation: Operation) -> None:
    link, _ = a_plan_link(operation)
    send(link.message.pk, at=now(), channel=ByEmail(RefusingMailServer()))
    found = plan_of(operation, at=now())
    assert found
    assert (len(found.given), len(found.undelivered)) == (0, 1)
    assert wanted(operation)[:1] == (Want.NOT_DELIVERED,)
    page = signed_in(Role.DIETITIAN).get(f"/patients/{operation.patient_id}/eating-plan/")
    assert "not delivered: the email failed" in page.content.decode()
    move(operation, or_date=LATER, at=now())
    assert not notices()  # nobody has to be told of a plan that never came


def test_giving_it_anew_tells_the_new_date(operation: Operation) -> None:
    a_plan_link(operation)
    sweep(at=now())
    correct(operation.patient, email="", at=now(), source="test")
    move(operation, or_date=LATER, at=now())
    correct(operation.patient, email="rosalind@example.org", at=now(), source="test")
    operation.refresh_from_db()
    a_plan_link(operation)
    row = latest_told(operation)
    assert row
    assert (row.means, row.or_date) == (ToldBy.EMAIL, LATER)
    assert Want.NOT_TOLD not in wanted(operation)


def test_dat_5_the_days_of_the_diet_are_added_up(operation: Operation) -> None:
    a_plan_link(operation)
    sweep(at=now())
    with time_machine.travel(NOON + timedelta(days=9), tick=False):  # 1 March, begun 24 February
        move(operation, or_date=LATER, at=now())
        found = plan_of(Operation.objects.get(pk=operation.pk), at=now())
        assert found
        assert (found.plan.days[0].day, found.plan.restricted) == (date(2027, 3, 10), 19)
        page = signed_in(Role.DIETITIAN).get(f"/patients/{operation.patient_id}/eating-plan/")
        assert "Counted from 24 February 2027, it comes to 19 days" in page.content.decode()
    with time_machine.travel(NOON + timedelta(days=12), tick=False):  # within a week of 10 March
        assert wanted(operation) == (Want.LONGER,)
        log_contact(
            operation.patient,
            means=Means.CALL,
            outcome=Outcome.REACHED,
            note="",
            at=now(),
            by_id=a_member(Role.DIETITIAN).pk,
        )
        assert wanted(operation) == ()


def test_a_short_plan_is_on_the_morning_list(operation: Operation) -> None:
    """DAT-6: surgery in 9 days."""
    with time_machine.travel(NOON + timedelta(days=9), tick=False):
        a_plan_link(operation)
        assert wanted(operation) == (Want.SHORT,)
        page = signed_in(Role.DIETITIAN).get("/morning/").content.decode()
        assert "plan 5 days short of 14" in page
        assert "Call, and log the contact" in page


def test_a_move_of_many_asks_as_often_as_one_of_few() -> None:
    counts = []
    with time_machine.travel(NOON, tick=False):
        for few in (2, 6):
            moved = [an_operation(days_ahead=30) for _ in range(few)]
            for one in moved:
                a_plan_link(one)
            sweep(at=now())
            day = date(2027, 4, 1) + timedelta(days=few)
            with CaptureQueriesContext(connection) as made:
                change_all([(one.pk, None, {"or_date": day}) for one in moved], at=now())
            counts.append(len(made))
    assert counts[0] == counts[1]


def test_the_morning_list_asks_as_often_for_many_plans_as_for_few(operation: Operation) -> None:
    """Five queries at most beside the list's own."""
    counts = []
    for few in (1, 4):
        for _ in range(few):
            a_plan_link(an_operation(days_ahead=9))
            moved = an_operation(patient=a_patient(email=""), days_ahead=12)
            a_plan_on_paper(moved)
            move(moved, or_date=LATER, at=now())
        with CaptureQueriesContext(connection) as made:
            found = plans_wanting(at=now(), zone=programme.current().zone)
        counts.append(len(made))
    assert len(found) >= 10
    assert counts[0] == counts[1] <= 5


def a_plan_on_paper(operation: Operation) -> None:
    table = stage_tables.current()
    assert table
    hand_over(operation, table, GivenBy.PRINT, at=now(), by_id=a_member(Role.DIETITIAN).pk)
