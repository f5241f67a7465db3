"""The calendar feed, held against RFC 5545 byte by byte and read back by icalendar.

Sections: 3.1 content lines, 3.6.1 VEVENT, 3.8.2.2 DTEND, 3.8.7.4 SEQUENCE; RFC 5546 section 2.1.4
for the sequence of a cancellation. Rows ICS-1, ICS-3 to ICS-6 of the project's standards.
"""

import hashlib
import re
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import OperationalError, connection
from django.test import Client
from django.urls import reverse
from icalendar import Calendar, Event

from clinic import staffing
from clinic.calendar_feed import feed
from clinic.confirm import answer, confirm
from clinic.models import CalendarFeed, StaffUser, TrailEntry
from education.clear import clear_by_teach_back
from patients import programme
from patients.clock import now
from patients.models import Booking, Operation
from patients.schedule import change, move
from tests.factories import a_member, a_patient, a_programme, an_assignment, an_operation, signed_in
from tests.rendered_forms import form_to

pytestmark = pytest.mark.django_db

LONG = "Wilhelmine-Éléonore " + "é" * 60


@pytest.fixture
def operation() -> Operation:
    patient = a_patient(given_names=LONG, family_names="Ünal; Sons, & Co")
    operation = an_operation(patient=patient, days_ahead=20, case_number="C-7;1,2")
    return an_assignment(operation=operation).operation


@pytest.fixture
def coordinator() -> StaffUser:
    return a_member("coordinator")


def events(calendar: bytes) -> list[Event]:
    parsed = Calendar.from_ical(calendar)
    return [event for event in parsed.walk("VEVENT") if isinstance(event, Event)]


def only(calendar: bytes) -> dict[str, Any]:
    """Return the one event's properties."""
    (event,) = events(calendar)
    return {name: event.decoded(name) for name in event}


def cleared(operation: Operation) -> None:
    module = operation.assignments.get().module
    by = a_member("dietitian").pk
    clear_by_teach_back(operation.patient, module, at=now(), by_id=by, note="all")


def allow_names() -> None:
    programme.change(at=now(), by_id=a_member("administrator").pk, feed_names_patients=True)


def summary(operation: Operation) -> str:
    found = {str(e["uid"]).partition("@")[0]: str(e["summary"]) for e in events(feed(at=now()))}
    return found[f"operation-{operation.pk}"]


# --- the bytes -----------------------------------------------------------------------------------


def test_every_line_ends_with_crlf_and_has_at_most_75_octets(operation: Operation) -> None:
    """RFC 5545 section 3.1; a folded line goes on behind one blank."""
    allow_names()
    calendar = feed(at=now())
    assert calendar.endswith(b"\r\n")
    assert b"\n" not in calendar.replace(b"\r\n", b"")
    lines = calendar[:-2].split(b"\r\n")
    assert max(map(len, lines)) <= 75
    assert any(line.startswith(b" ") for line in lines), "the name is long enough to be folded"
    for line in lines:
        line.decode("utf-8")  # no character is split by a fold
    unfolded = calendar.replace(b"\r\n ", b"").decode()
    assert LONG in unfolded


def test_text_is_escaped(operation: Operation) -> None:
    """RFC 5545 section 3.3.11: comma, semicolon and newline (standards row ICS-4)."""
    unfolded = feed(at=now()).replace(b"\r\n ", b"").decode()
    assert "C-7\\;1\\,2" in unfolded
    assert str(only(feed(at=now()))["SUMMARY"]).endswith("C-7;1,2")


@pytest.mark.parametrize(
    "or_date, starts, ends",
    [
        (date(2026, 3, 8), b"20260308", b"20260309"),  # clocks go forward, 15 U.S.C. 260a
        (date(2026, 11, 1), b"20261101", b"20261102"),  # and back
        (date(2026, 12, 31), b"20261231", b"20270101"),
        (date(2028, 2, 29), b"20280229", b"20280301"),
    ],
)
def test_an_or_date_is_one_whole_day_in_no_zone(or_date: date, starts: bytes, ends: bytes) -> None:
    """RFC 5545 section 3.8.2.2: the end is not part of it (rows ICS-1 and CAL-9)."""
    at = datetime(or_date.year, or_date.month, 1, tzinfo=UTC) - timedelta(days=5)
    a_programme(at=at)
    an_operation(patient=a_patient(at=at), at=at, or_date=or_date)
    calendar = feed(at=at)
    assert b"DTSTART;VALUE=DATE:" + starts + b"\r\n" in calendar
    assert b"DTEND;VALUE=DATE:" + ends + b"\r\n" in calendar
    (event,) = events(calendar)
    assert event.decoded("dtend") - event.decoded("dtstart") == timedelta(days=1)


def test_the_calendar_has_what_it_must_have(operation: Operation) -> None:
    """RFC 5545 sections 3.6 (PRODID, VERSION) and 3.6.1 (UID, DTSTAMP in UTC)."""
    calendar = feed(at=now())
    assert calendar.startswith(b"BEGIN:VCALENDAR\r\nPRODID:")
    assert b"\r\nVERSION:2.0\r\n" in calendar
    assert re.search(rb"\r\nUID:operation-\d+@[^\r]+\r\n", calendar)
    assert re.search(rb"\r\nDTSTAMP:\d{8}T\d{6}Z\r\n", calendar)


# --- changes -------------------------------------------------------------------------------------


def test_each_change_keeps_the_uid_and_counts_on(operation: Operation) -> None:
    first = only(feed(at=now()))
    move(operation, operation.or_date and operation.or_date + timedelta(days=2), at=now())
    second = only(feed(at=now()))
    assert second["UID"] == first["UID"]
    assert (first["SEQUENCE"], second["SEQUENCE"]) == (0, 1)
    assert second["DTSTART"] != first["DTSTART"]


def test_a_cancelled_one_is_shown_cancelled_for_a_while(operation: Operation) -> None:
    change(operation, at=now(), booking=Booking.CANCELLED)
    shown = only(feed(at=now()))
    assert (shown["STATUS"], shown["SEQUENCE"]) == ("CANCELLED", 1)
    assert shown["SUMMARY"].startswith("Cancelled: ")
    later = now() + timedelta(days=31)
    assert events(feed(at=later)) == []


def test_a_postponed_one_is_cancelled_where_it_stood(operation: Operation) -> None:
    before = only(feed(at=now()))
    postponed = move(operation, None, at=now())
    shown = only(feed(at=now()))
    assert (shown["STATUS"], shown["DTSTART"]) == ("CANCELLED", before["DTSTART"])
    move(postponed, before["DTSTART"], at=now())
    again = only(feed(at=now()))
    assert (again["STATUS"], again["SEQUENCE"], again["UID"]) == ("TENTATIVE", 2, before["UID"])


def test_the_summary_follows_the_answer(operation: Operation, coordinator: StaffUser) -> None:
    assert summary(operation).startswith("Hold (proposed): ")
    cleared(operation)
    assert summary(operation).startswith("Confirm (proposed): ")
    seen = answer(operation, at=now()).seen
    confirm(operation, seen=seen, at=now(), by=coordinator)
    assert summary(operation).startswith("Confirmed: ")
    assert only(feed(at=now()))["STATUS"] == "CONFIRMED"


# --- privacy (row ICS-6) -------------------------------------------------------------------------


def test_without_leave_nothing_names_anybody_the_procedure_or_the_programme(
    operation: Operation,
) -> None:
    calendar = feed(at=now()).replace(b"\r\n ", b"").decode().casefold()
    patient = operation.patient
    for fact in (
        "wilhelmine", "ünal", patient.mrn, patient.birth_date.isoformat(), patient.email,
        "sleeve", "gastrectomy", "larkfield", "brask", "before your operation", "module", "cleared",
    ):  # fmt: skip
        assert fact.casefold() not in calendar, fact


def test_with_the_programmes_leave_it_names_both_and_says_why(operation: Operation) -> None:
    allow_names()
    shown = only(feed(at=now()))
    assert "Sleeve gastrectomy" in shown["SUMMARY"]
    assert "not invited yet" in shown["DESCRIPTION"]


# --- the private address -------------------------------------------------------------------------


def made(member: StaffUser) -> str:
    """Make an address on the page, and return its path."""
    client, page = signed_in(member), reverse("calendar")
    shown = client.post(page, form_to(client.get(page), page)).content.decode()
    found = re.search(r'value="https?://[^/]+(/calendar/[^"]+\.ics)"', shown)
    assert found
    return found[1]


def test_the_address_opens_the_calendar_and_only_its_hash_is_kept(
    operation: Operation, coordinator: StaffUser
) -> None:
    path = made(coordinator)
    response = Client().get(path)
    assert response.status_code == 200
    assert response["Content-Type"] == "text/calendar; charset=utf-8"
    assert "no-store" in response["Cache-Control"]
    assert len(events(response.content)) == 1
    token = path.removeprefix("/calendar/").removesuffix(".ics")
    assert len(token) == 43  # 256 bits, base64 without padding (RFC 4648)
    assert CalendarFeed.objects.get().digest == hashlib.sha256(token.encode()).hexdigest()
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names():
            cursor.execute(f'SELECT * FROM "{table}"')
            assert token not in str(cursor.fetchall()), table


def test_the_same_form_twice_makes_one_address(coordinator: StaffUser) -> None:
    """Promise W3."""
    a_programme()
    client, page = signed_in(coordinator), reverse("calendar")
    shown = form_to(client.get(page), page)
    addresses = {
        found[0]
        for _ in range(2)
        if (
            found := re.findall(r"/calendar/[^\"]+\.ics", client.post(page, shown).content.decode())
        )
    }
    assert len(addresses) == 1
    assert Client().get(addresses.pop()).status_code == 200


def test_a_new_one_ends_the_old_one_and_ending_it_ends_it(
    operation: Operation, coordinator: StaffUser
) -> None:
    first, second = made(coordinator), made(coordinator)
    assert [Client().get(path).status_code for path in (first, second)] == [404, 200]
    client, page = signed_in(coordinator), reverse("calendar")
    end = reverse("calendar-revoke")
    client.post(end, form_to(client.get(page), end))
    assert Client().get(second).status_code == 404


@pytest.mark.parametrize("how", ["disabled", "another role"])
def test_it_dies_with_the_account_and_the_role_and_stays_dead(
    operation: Operation, coordinator: StaffUser, how: str
) -> None:
    path = made(coordinator)
    if how == "disabled":
        staffing.set_active(coordinator, active=False)
    else:
        staffing.set_role(coordinator, "dietitian")
    assert Client().get(path).status_code == 404
    staffing.set_active(coordinator, active=True)
    staffing.set_role(coordinator, "coordinator")
    assert Client().get(path).status_code == 404


def test_reading_it_stands_in_the_trail(operation: Operation, coordinator: StaffUser) -> None:
    path = made(coordinator)
    Client().get(path)
    entry = TrailEntry.objects.latest("id")
    assert (entry.act, entry.by) == ("GET calendar-feed", coordinator)


def test_whichever_query_fails_it_is_503_and_never_an_empty_calendar(
    operation: Operation, coordinator: StaffUser
) -> None:
    path, failed = made(coordinator), 0
    for nth in range(1, 100):
        failing = Failing(nth)
        with connection.execute_wrapper(failing):
            response = Client().get(path)
        if failing.made < nth:
            assert response.status_code == 200
            break
        failed += 1
        assert (response.status_code, response["Retry-After"]) == (503, "300"), nth
        assert b"VCALENDAR" not in response.content
    assert failed >= 10


class Failing:
    """Lets every query through but the n-th."""

    def __init__(self, nth: int) -> None:
        self.nth, self.made = nth, 0

    def __call__(self, execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        self.made += 1
        if self.made == self.nth:
            raise OperationalError("the connection was lost")
        return execute(sql, params, many, context)


def test_the_number_of_queries_does_not_grow(
    operation: Operation, django_assert_max_num_queries: Any
) -> None:
    for _ in range(12):
        an_assignment(operation=an_operation())
    with django_assert_max_num_queries(13):
        assert len(events(feed(at=now()))) == 13
