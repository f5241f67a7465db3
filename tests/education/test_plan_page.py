"""What a patient does behind the plan's link: ticks, solid meals, a calendar link."""

import re
from datetime import date, datetime, timedelta
from typing import Any

import ics
import pytest
import time_machine
from django.test import Client
from icalendar import Calendar

from education.eating_record import choices_of, choose
from education.models import EatingChoices, PlanFeed, PlanTick
from education.plan_of import plan_of
from patients.clock import now
from patients.models import Booking, Operation
from patients.register import correct
from patients.schedule import change, move
from tests.factories import a_patient, a_plan_link, an_operation

pytestmark = pytest.mark.django_db

NOON = datetime.fromisoformat("2027-02-20T18:00:00+00:00")  # 12:00 in Chicago
OR_DATE = date(2027, 3, 10)
RUNNING = NOON + timedelta(days=7)  # 27 February, the plan's fourth day


@pytest.fixture
def plan() -> Any:
    with time_machine.travel(NOON, tick=False):
        patient = a_patient(given_names="Rosalind", family_names="Ashdown")
        operation = an_operation(patient=patient, days_ahead=None, or_date=OR_DATE)
        _, token = a_plan_link(operation)
    with time_machine.travel(RUNNING, tick=False):
        yield operation, f"/q/{token}/plan/"


def get(address: str) -> str:
    answer = Client().get(address)
    assert answer.status_code == 200
    assert not answer.cookies
    text: str = answer.content.decode()
    return text


def post(address: str, **sent: Any) -> Any:
    """Post as a page with no session and no cookie does, with the check for forged forms on."""
    return Client(enforce_csrf_checks=True).post(address, sent)


# --- ticking -------------------------------------------------------------------------------------


def test_a_tick_is_kept_once_and_taken_back(plan: tuple[Operation, str]) -> None:
    _, address = plan
    assert "Tap what you did" in get(address)
    for _ in range(2):  # a double tap
        answer = post(address + "done/?l=en", day="2027-02-27", done="shake-1")
        assert (answer.status_code, answer["Location"]) == (303, f"{address}?l=en#done")
    assert PlanTick.objects.count() == 1
    text = get(address)
    assert text.count('aria-pressed="true"') == 1
    assert "1 of 4 done" in text  # three shakes and the fluids
    post(address + "done/", day="2027-02-27", undo="shake-1")
    assert not PlanTick.objects.exists()


def test_what_the_day_does_not_ask_for_is_not_kept(plan: tuple[Operation, str]) -> None:
    _, address = plan
    for day, item in (
        ("2027-02-28", "shake-1"),  # tomorrow
        ("2027-02-23", "shake-1"),  # before the plan
        ("2027-02-27", "shake-4"),
        ("2027-02-27", "meal"),  # none chosen
        ("2027-02-27", "' OR 1=1"),
        ("yesterday", "shake-1"),
    ):
        assert post(address + "done/", day=day, done=item).status_code == 303
    assert not PlanTick.objects.exists()


def test_a_past_day_can_be_ticked_and_stays_ticked_when_the_date_moves(
    plan: tuple[Operation, str],
) -> None:
    operation, address = plan
    post(address + "done/", day="2027-02-25", done="fluid")
    move(operation, or_date=OR_DATE + timedelta(days=1), at=now())
    assert "Thu, February 25</strong>: Full liquids; 3 shakes; 1 of 4 done" in get(address)
    assert "Done on Thu, February 25?" in get(address + "?day=2027-02-25")


def test_a_get_ticks_nothing(plan: tuple[Operation, str]) -> None:
    _, address = plan
    assert Client().get(address + "done/?day=2027-02-27&done=shake-1").status_code == 303
    assert not PlanTick.objects.exists()


# --- sips ----------------------------------------------------------------------------------------


def test_by_what_time_the_goal_is_reached_if_begun_now(plan: tuple[Operation, str]) -> None:
    """1 oz each 15 minutes: 64 oz take 16 hours; from 12:00 to a bedtime at 22:00 it is 40 oz."""
    _, address = plan
    text = get(address)
    assert "Sip 1 US fluid ounce every 15 minutes." in text
    assert "Start now, and you drink 40 of 64 US fluid ounces by 10:00 PM." in text
    with time_machine.travel(RUNNING - timedelta(hours=6), tick=False):
        assert "Start now, and you reach your goal at 10:00 PM." in get(address)
    assert "de 64 onzas" in get(address + "?l=es")


# --- the days of the solid meals -----------------------------------------------------------------


def days(*offsets: int) -> list[str]:
    return [(OR_DATE + timedelta(offset)).isoformat() for offset in offsets]


def test_days_are_chosen_and_kept_as_days_from_the_or_date(plan: tuple[Operation, str]) -> None:
    operation, address = plan
    text = get(address + "meals/")
    assert "The last day for one is Sunday, March 7, 2027." in text
    assert 'value="2027-03-08"' not in text  # day -2: too late
    assert 'value="2027-02-26"' not in text  # yesterday
    answer = post(address + "meals/", or_date="2027-03-10", day=days(-10, -7, -5, -3))
    assert answer.status_code == 303
    kept = choices_of(operation)
    assert kept
    assert (kept.meals, kept.by, kept.nights) == ([-10, -7, -5, -3], None, 1)
    assert "Solid meals on: Sun, February 28; Wed, March 3; Fri, March 5; Sun, March 7." in get(
        address
    )
    post(address + "meals/", or_date="2027-03-10", day=days(-10, -7, -5, -3))
    assert EatingChoices.objects.count() == 1


def test_too_close_is_said_before_and_after_it_is_kept(plan: tuple[Operation, str]) -> None:
    _, address = plan
    sent: dict[str, Any] = {"or_date": "2027-03-10", "day": days(-10, -9)}
    answer = post(address + "meals/", **sent)
    said = "Sun, February 28 and Mon, March 1 are too close. Leave at least 1 day between"
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert answer.content.decode().count(" checked") == 2
    assert not EatingChoices.objects.exists()
    assert post(address + "meals/", anyway="yes", **sent).status_code == 303
    text = get(address)
    assert said in text
    assert "You can choose 2 more days." in text


@pytest.mark.parametrize(
    "offsets, said",
    [
        ((-10, -2), "Mon, March 8 is too late. The last day for a solid meal is Sun, March 7."),
        ((-10, -1), "Your plan has no solid meal on Tue, March 9."),
        ((-11, -9, -7, -5, -3), "You chose 1 day too many."),
    ],
)
def test_what_cannot_be_is_never_kept(
    plan: tuple[Operation, str], offsets: tuple[int, ...], said: str
) -> None:
    _, address = plan
    answer = post(address + "meals/", or_date="2027-03-10", day=days(*offsets), anyway="yes")
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not EatingChoices.objects.exists()


def test_a_form_from_before_the_move_chooses_nothing(plan: tuple[Operation, str]) -> None:
    operation, address = plan
    move(operation, or_date=OR_DATE + timedelta(days=7), at=now())
    answer = post(address + "meals/", or_date="2027-03-10", day=days(-10))
    assert answer.status_code == 422
    assert "Your date changed meanwhile. Please choose again." in answer.content.decode()
    assert not EatingChoices.objects.exists()


def test_what_staff_chose_beside_the_meals_stays(plan: tuple[Operation, str]) -> None:
    operation, address = plan
    visit = date(2027, 3, 22)
    choose(
        operation,
        meals=[-10],
        nights=2,
        first_visit_days=14,
        first_visit_on=visit,
        reason="lives far",
        at=now(),
        by_id=None,
    )
    post(address + "meals/", or_date="2027-03-10", day=days(-8))
    kept = choices_of(operation)
    assert kept
    assert (kept.meals, kept.nights, kept.first_visit_on) == ([-8], 2, visit)
    found = plan_of(operation, at=now())
    assert found
    assert found.plan.days[-1].day == visit  # the plan counts to the booked visit


# --- the calendar --------------------------------------------------------------------------------


def feed_address(address: str, *, named: bool = False) -> str:
    post(address + "feed/", **({"operation": "yes"} if named else {}))
    found = re.findall(r'class="address">([^<]+)<', get(address))
    return "/" + str(found[-1]).split("/", 3)[3].replace("&amp;", "&")


def both_libraries(raw: str) -> list[tuple[str, date, date]]:
    """Read a calendar by two libraries; the second one knows nothing of the one that wrote it."""
    by_icalendar = [
        (str(one["summary"]), one.decoded("dtstart"), one.decoded("dtend"))
        for one in Calendar.from_ical(raw).walk("VEVENT")
    ]
    by_ics = [(one.name, one.begin.date(), one.end.date()) for one in ics.Calendar(raw).events]
    assert sorted(by_ics) == sorted(by_icalendar)
    assert all(one.all_day for one in ics.Calendar(raw).events)
    return by_icalendar


def test_ics_a_second_library_reads_the_same_dates(plan: tuple[Operation, str]) -> None:
    """ICS-1: 24 February to 8 March is DTSTART 24 February, DTEND 9 March."""
    _, address = plan
    post(address + "meals/", or_date="2027-03-10", day=days(-10, -7))
    raw = get(address.replace("/plan/", "/plan.ics"))
    read = both_libraries(raw)
    assert read[0] == ("Plan: part 1 of 5", date(2027, 2, 24), date(2027, 3, 9))
    assert ("Plan: a day you chose", date(2027, 2, 28), date(2027, 3, 1)) in read
    assert "peration" not in raw


def test_the_feed_follows_a_date_that_moves(plan: tuple[Operation, str]) -> None:
    operation, address = plan
    feed = feed_address(address)
    before = both_libraries(get(feed))
    assert "peration" not in get(feed).replace("\r\n ", "")
    move(operation, or_date=OR_DATE + timedelta(days=21), at=now())
    after = both_libraries(get(feed))
    assert [one[1:] for one in after] == [
        tuple(day + timedelta(days=21) for day in one[1:]) for one in before
    ]
    with time_machine.travel(NOON + timedelta(days=62), tick=False):
        # The first link is too old by now; the one that told of the move keeps the feed alive.
        change(operation, booking=Booking.DONE, at=now())
        assert Client().get(address).status_code == 410
        assert Client().get(feed).status_code == 200


def test_without_days_the_feed_says_so(plan: tuple[Operation, str]) -> None:
    operation, address = plan
    feed = feed_address(address)
    change(operation, booking=Booking.CANCELLED, at=now())
    assert Client().get(address).status_code == 410
    assert both_libraries(get(feed)) == [
        (
            "Plan: there are no days just now. Call us.",
            date(2027, 2, 27),
            date(2027, 2, 28),
        )
    ]


def test_the_operation_is_named_only_for_who_asks(plan: tuple[Operation, str]) -> None:
    _, address = plan
    named = feed_address(address, named=True)
    assert ("Your operation", OR_DATE, OR_DATE + timedelta(days=1)) in both_libraries(get(named))
    file = get(address.replace("/plan/", "/plan.ics") + "?operation=yes")
    assert "Your operation" in file


def test_a_calendar_link_is_made_once_shown_again_and_ended(plan: tuple[Operation, str]) -> None:
    operation, address = plan
    first = feed_address(address)
    assert feed_address(address) == first
    token = first.split("/")[2]
    assert not PlanFeed.objects.filter(digest=token).exists()
    assert token not in address
    assert "webcal" in get(address)
    post(address + "feed/end/", number="1")
    assert Client().get(first).status_code == 404
    second = feed_address(address)
    assert second != first
    correct(operation.patient, email="new@example.org", at=now(), source="test")
    assert Client().get(second).status_code == 404
