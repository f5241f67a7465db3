"""Invitations and reminders that nobody asks for, day by day (promises B3, B5, B6; fault 11, 16).

Daylight-saving dates: 15 U.S.C. 260a (standards.md CAL-4 to CAL-6).
"""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from zoneinfo import ZoneInfo

import pytest
from django.core import mail
from django.db import IntegrityError, connection, transaction

from education import mail_hold, mail_rules
from education.clear import clear_by_teach_back
from education.daily import LEASE, MOST_TRIES, once_a_day, parked
from education.invite import INVITATION
from education.models import (
    Assignment,
    DailyRun,
    Invitation,
    Message,
    MessageState,
    Reminder,
)
from education.personal_link import LinkState, open_link
from education.reminders import daily_mail, preview
from education.rules.who_is_written_to import ReminderRule, What
from education.send import sweep
from patients.merge import merge
from patients.models import Patient
from patients.register import correct
from patients.schedule import change
from tests.education.short_module import a_short_edition
from tests.education.test_send import token_in
from tests.factories import a_member, a_patient, a_programme, an_assignment, an_operation

pytestmark = pytest.mark.django_db

CHICAGO = ZoneInfo("America/Chicago")
MONDAY = date(2026, 3, 2)
OR_DATE = date(2026, 3, 27)  # clear by Friday 20 March, seven days before
HOUR, DAY = timedelta(hours=1), timedelta(days=1)


def local(day: date, hour: int = 9, minute: int = 0) -> datetime:
    """An instant, by the programme's clock."""
    return datetime.combine(day, time(hour, minute), tzinfo=CHICAGO).astimezone(UTC)


@pytest.fixture(autouse=True)
def rules(db: None) -> None:
    """It invites, and reminds ten and three days before the clear-by date."""
    a_programme(at=local(MONDAY - DAY))
    mail_rules.change(
        at=local(MONDAY - DAY),
        by_id=None,
        invites=True,
        reminders=mail_rules.as_stored([ReminderRule(10), ReminderRule(3)]),
    )


def one(*, days: int = 0, **facts: object) -> Assignment:
    """A patient with an operation of their own, whose window is open on Monday."""
    at = local(MONDAY - DAY)
    patient = a_patient(at=at, **facts)
    operation = an_operation(patient=patient, at=at, or_date=OR_DATE + days * DAY)
    module = a_short_edition(at=at).module
    return an_assignment(operation=operation, module=module, at=at)


def live(first: date, last: date) -> list[tuple[date, str]]:
    """Let days go by: every scheduler asks, and the sweep sends. Returns what went out."""
    sent = []
    day = first
    while day <= last:
        for hour in (7, 9, 15, 21):
            at = local(day, hour)
            daily_mail(at=at)
            before = len(mail.outbox)
            sweep(at=at)
            sent += [(day, str(m.subject)) for m in mail.outbox[before:]]
        day += DAY
    return sent


INVITED, REMINDED = "Your personal link", "A reminder: your personal link"


def test_it_invites_when_the_window_opens_and_reminds_on_its_days() -> None:
    one()
    assert live(MONDAY, date(2026, 3, 28)) == [
        (MONDAY, INVITED),
        (date(2026, 3, 10), REMINDED),
        (date(2026, 3, 17), REMINDED),
    ]
    texts = [str(m.body) for m in mail.outbox]
    assert "Please finish by Friday, March 20, 2026." in texts[1]
    assert {open_link(Invitation, token_in(t), at=local(OR_DATE)).state for t in texts} == {
        LinkState.GOOD
    }


def test_fault_11_the_date_moves_and_no_reminder_names_the_old_one() -> None:
    assignment = one()
    live(MONDAY, date(2026, 3, 9))
    daily_mail(at=local(date(2026, 3, 10)))
    waiting = Message.objects.get(reminder__isnull=False)
    change(assignment.operation, at=local(date(2026, 3, 10), 10), or_date=OR_DATE + 10 * DAY)
    waiting.refresh_from_db()
    assert (waiting.state, waiting.problem) == (MessageState.WITHDRAWN, "the date moved")
    mail.outbox.clear()
    assert live(date(2026, 3, 10), date(2026, 3, 21)) == [(date(2026, 3, 20), REMINDED)]
    assert "March 30" in str(mail.outbox[0].body)


def test_the_sender_looks_once_more_although_nothing_withdrew_it() -> None:
    one()
    live(MONDAY, date(2026, 3, 9))
    daily_mail(at=local(date(2026, 3, 10)))
    # Past the acts, as a fault would: the move's own withdrawal did not happen.
    Assignment.objects.update(clear_by=date(2026, 3, 25))
    assert sweep(at=local(date(2026, 3, 10))) == 0
    assert Message.objects.get(reminder__isnull=False).state == MessageState.WITHDRAWN


def test_it_stops_at_clearance_in_the_same_transaction() -> None:
    assignment = one()
    daily_mail(at=local(MONDAY))
    member = a_member("dietitian").pk
    patient = assignment.operation.patient
    clear_by_teach_back(patient, assignment.module, at=local(MONDAY, 10), by_id=member, note="x")
    assert Message.objects.get().state == MessageState.WITHDRAWN
    assert live(MONDAY, OR_DATE) == []


def test_cancelled_readdressed_and_merged_nothing_of_it_goes_out() -> None:
    cancelled, elsewhere, merged = (one(days=n) for n in range(3))
    daily_mail(at=local(MONDAY))
    at = local(MONDAY, 10)
    change(cancelled.operation, at=at, booking="cancelled")
    correct(elsewhere.operation.patient, at=at, source="call", email="new@example.org")
    kept = a_patient(at=at, email=merged.operation.patient.email)
    member = a_member("administrator").pk
    merge(kept, merged.operation.patient, reason="one person", at=at, by_id=member)
    withdrawn = Message.objects.filter(state=MessageState.WITHDRAWN)
    assert withdrawn.count() == 3
    anew = Message.objects.filter(state=MessageState.WAITING)
    assert [m.address for m in anew] == ["new@example.org"], "the programme invites by itself"


def test_quiet_hours_hold_even_for_what_was_written_before_them() -> None:
    one()
    daily_mail(at=local(MONDAY, 19, 59))
    assert sweep(at=local(MONDAY, 20, 30)) == 0
    message = Message.objects.get()
    assert (message.next_try_at, message.tries) == (local(MONDAY + DAY, 8), 0)
    assert sweep(at=local(MONDAY + DAY, 8)) == 1
    assert not daily_mail(at=local(MONDAY + DAY, 7, 59)), "nothing is written in them either"


def test_a_reminder_of_yesterday_is_not_sent_today_but_written_anew() -> None:
    one()
    live(MONDAY, date(2026, 3, 9))
    tenth = date(2026, 3, 10)
    mail_hold.hold(reason="a wrong template", at=local(tenth, 7), by_id=None)
    assert live(tenth, tenth) == []
    mail_hold.release(reason="put right", at=local(tenth + DAY, 7), by_id=None)
    assert live(tenth + DAY, tenth + DAY) == [(tenth + DAY, REMINDED)]
    states = [r.message.state for r in Reminder.objects.order_by("id")]
    assert states == [MessageState.WITHDRAWN, MessageState.SENT]


def test_a_hold_keeps_everything_until_it_is_released() -> None:
    one()
    assert mail_hold.hold(reason="a wrong template", at=local(MONDAY, 8), by_id=None)
    assert not mail_hold.hold(reason="again", at=local(MONDAY, 8), by_id=None)
    assert live(MONDAY, MONDAY + 2 * DAY) == []
    assert mail_hold.release(reason="put right", at=local(MONDAY + 3 * DAY, 8), by_id=None)
    assert live(MONDAY + 3 * DAY, MONDAY + 3 * DAY) == [(MONDAY + 3 * DAY, INVITED)]


def test_fault_16_stopped_for_three_days_one_catch_up_and_one_reminder_a_day() -> None:
    one()
    live(MONDAY, date(2026, 3, 9))  # then stopped from the 10th to the 12th
    assert live(date(2026, 3, 13), date(2026, 3, 16)) == [(date(2026, 3, 13), REMINDED)]


@pytest.mark.django_db(transaction=True)
def test_b5_three_schedulers_at_once_run_it_once() -> None:
    a_programme(at=local(MONDAY - DAY))
    mail_rules.change(at=local(MONDAY - DAY), by_id=None, invites=True)
    for n in range(3):
        one(days=n)

    def ask(day: date) -> bool:
        try:
            return daily_mail(at=local(day))
        finally:
            connection.close()

    for day in (MONDAY, MONDAY + DAY):
        with ThreadPoolExecutor(3) as pool:
            assert sorted(pool.map(ask, [day] * 3)) == [False, False, True]
    assert Message.objects.count() == 3


def test_the_database_refuses_a_second_one_of_a_purpose_a_day() -> None:
    one()
    daily_mail(at=local(MONDAY))
    first = Message.objects.get()
    again = {"purpose": INVITATION, "patient": first.patient, "for_day": first.for_day}
    with pytest.raises(IntegrityError), transaction.atomic():
        Message.objects.create(
            **again,
            address="x@example.org",
            language="en",
            message_id="<x@y>",
            next_try_at=local(MONDAY),
            recorded_at=local(MONDAY),
        )


def test_b5_a_clock_that_goes_back_brings_no_second_run_and_no_earlier_one() -> None:
    ran: list[date] = []
    for day in (MONDAY, MONDAY + DAY, MONDAY, MONDAY - DAY, MONDAY + DAY):
        once_a_day("x", on=day, at=local(day), act=partial(ran.append, day))
    assert ran == [MONDAY, MONDAY + DAY]


def test_b3_a_job_that_fails_is_tried_five_times_and_then_parked_with_its_reason() -> None:
    tried = []

    def fail() -> None:
        tried.append(1)
        raise ZeroDivisionError

    for n in range(10):
        once_a_day("x", on=MONDAY, at=local(MONDAY) + n * (LEASE + HOUR / 60), act=fail)
    assert len(tried) == MOST_TRIES
    assert [(run.job, run.problem) for run in parked()] == [("x", "ZeroDivisionError")]
    assert once_a_day("y", on=MONDAY, at=local(MONDAY), act=lambda: None), "others go on"


@pytest.mark.parametrize(
    ("zone", "night"),
    [("America/Chicago", date(2026, 3, 8)), ("America/Chicago", date(2026, 11, 1))],
)
def test_b5_on_a_daylight_saving_day_it_runs_once(zone: str, night: date) -> None:
    start = datetime.combine(night, time(), tzinfo=ZoneInfo(zone)).astimezone(UTC)
    ran = sum(daily_mail(at=start + n * HOUR / 2) for n in range(48))
    assert (ran, DailyRun.objects.get().on) == (1, night)


def test_the_preview_says_what_then_happens() -> None:
    for n in range(3):
        one(days=n)
    one(email="")
    _, days = preview(mail_rules.current(), at=local(MONDAY), days=14)
    foreseen = [
        (day, INVITED if decision.what == What.INVITATION else REMINDED)
        for day, decisions in days
        for decision in decisions
        if decision.what
    ]
    assert foreseen == live(MONDAY, MONDAY + 13 * DAY)
    assert len(foreseen) >= 6
    assert Patient.objects.filter(email="").exists()
