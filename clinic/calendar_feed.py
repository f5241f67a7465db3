"""The operations as a calendar that other programs read (RFC 5545), each with its answer.

Calendars are kept on phones and on servers of others, so unless the programme allows it an entry
names nobody, no procedure and not the programme: its case number and one word (standards row
ICS-6). An OR date is a day, in no time zone, and the day after it is where the entry ends.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import Q
from django.urls import reverse
from icalendar import Calendar, Event

from clinic import answer_words, words
from clinic.confirm import OperationAnswer, answers
from clinic.operation_rows import Row, rows_of
from clinic.unsettled import CannotTell
from education.rules.confirm import Word
from patients import programme
from patients.clock import local_date
from patients.models import OPEN_BOOKINGS, Booking, Operation, OperationChange

AHEAD = timedelta(days=180)
# So long what is over, cancelled or postponed stays, for calendars that look in seldom.
BACK = timedelta(days=30)

STATUS = {
    Booking.PROPOSED: "TENTATIVE",
    Booking.ON_HOLD: "TENTATIVE",
    Booking.CONFIRMED: "CONFIRMED",
    Booking.DONE: "CONFIRMED",
    Booking.CANCELLED: "CANCELLED",
}


@dataclass(frozen=True)
class Entry:
    """One operation on a day; `row` is None when it is not on that day any more."""

    operation: Operation
    day: date
    row: Row | None


def feed(*, at: datetime) -> bytes:
    """Return the calendar. Raises CannotTell when a fact could not be read: never an empty one."""
    used = programme.current()
    on = local_date(at, used.zone)
    calendar = Calendar()
    calendar.add("prodid", "-//Clear by//OR dates//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("x-wr-calname", "OR dates")
    calendar.add("refresh-interval", timedelta(hours=1), parameters={"VALUE": "DURATION"})
    for entry in _entries(on=on, at=at):
        calendar.add_component(_event(entry, at=at, zone=used.zone, named=used.feed_names_patients))
    return bytes(calendar.to_ical(sorted=False))


def _entries(*, on: date, at: datetime) -> list[Entry]:
    """The operations of the coming months, those of the last weeks, and what was postponed."""
    around = Q(or_date__gte=on - BACK, or_date__lte=on + AHEAD)
    of_late = Q(booking__in=OPEN_BOOKINGS) | Q(recorded_at__gte=at - BACK)
    listed = Operation.objects.filter(around).filter(of_late | Q(booking=Booking.DONE))
    listed = listed.select_related("patient", "procedure").order_by("or_date", "id")
    given = answers(list(listed), at=at)
    if any(one.verdict.word == Word.CANNOT_TELL for one in given):
        raise CannotTell
    entries = [_entry(row) for row in rows_of(given)]
    return [*entries, *_postponed(on=on, at=at)]


def _entry(row: Row) -> Entry:
    day = row.operation.or_date
    if day is None:
        raise ValueError("it has no date")
    return Entry(row.operation, day, row)


def _postponed(*, on: date, at: datetime) -> list[Entry]:
    """What lost its date of late: cancelled on the day where it stood last."""
    rows = OperationChange.objects.filter(
        operation__or_date__isnull=True,
        operation__recorded_at__gte=at - BACK,
        or_date__gte=on - BACK,
    ).select_related("operation__patient", "operation__procedure")
    last = {row.operation_id: row for row in rows.order_by("version")}
    return [Entry(row.operation, row.or_date, None) for row in last.values() if row.or_date]


def _event(entry: Entry, *, at: datetime, zone: ZoneInfo, named: bool) -> Event:
    operation = entry.operation
    event = Event()
    event.add("uid", f"operation-{operation.pk}@{urlsplit(settings.PUBLIC_URL).hostname}")
    event.add("dtstamp", at)
    event.add("last-modified", operation.recorded_at)
    event.add("sequence", operation.version - 1)
    event.add("dtstart", entry.day)
    event.add("dtend", entry.day + timedelta(days=1))
    event.add("summary", f"{_word(entry)}: {_label(operation, named=named)}")
    event.add("status", STATUS[Booking(operation.booking)] if entry.row else "CANCELLED")
    event.add("transp", "TRANSPARENT")
    event.add("class", "PRIVATE")
    event.add("description", "\n".join(_details(entry, at=at, zone=zone, named=named)))
    event.add("url", settings.PUBLIC_URL + reverse("operation", args=[operation.pk]))
    return event


def _word(entry: Entry) -> str:
    """The answer, and the booking where it says more."""
    booking = Booking(entry.operation.booking)
    if entry.row is None:
        return "Postponed"
    if booking in (Booking.CANCELLED, Booking.DONE):
        return words.BOOKING[booking].capitalize()
    if entry.row.stands:
        return "Confirmed"
    return f"{entry.row.word} ({words.BOOKING[booking]})"


def _label(operation: Operation, *, named: bool) -> str:
    if named:
        return f"{operation.patient.full_name}, {operation.procedure.name}"
    return operation.case_number or f"no case number, entry {operation.pk}"


def _details(entry: Entry, *, at: datetime, zone: ZoneInfo, named: bool) -> Iterable[str]:
    """When it was asked; the reasons only where names may stand too, for they tell of health."""
    there = at.astimezone(zone)
    yield f"Asked at {there:%H:%M %Z}, {there.day} {there:%B %Y}. Look at the page before you act."
    if named and entry.row and entry.row.operation.is_open:
        yield from _reasons(entry.row.given, entry.row)


def _reasons(given: OperationAnswer, row: Row) -> Iterable[str]:
    yield from (f"{reason}." for reason in row.reasons)
    yield from (f"{line.title}: {line.standing}, {line.why}." for line in row.holding)
    if given.verdict.word == Word.CONFIRM:
        yield f"{answer_words.WORDS[Word.CONFIRM]}: every module due before it is cleared."
