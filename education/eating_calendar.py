"""A patient's eating plan as a calendar file or feed (RFC 5545).

A day is a date in no time zone, and DTEND is the day after the last one. Calendars stand on locked
phones and on servers of others: titles are neutral and name neither the operation nor the programme
(standards ICS-6), unless the patient asked for the operation's day. The same entry keeps its UID
when the OR date moves, and its SEQUENCE grows.
"""

import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from urllib.parse import urlsplit

from django.conf import settings
from django.utils.translation import gettext as _
from icalendar import Calendar, Event

from education.eating_texts import alarms
from education.plan_of import PlanOf
from education.written_days import language

SPACE = uuid.uuid5(uuid.NAMESPACE_URL, "eating-plan")
DAY = timedelta(days=1)


@dataclass(frozen=True)
class Entry:
    """One entry, from its first to its last day. `key` tells it apart for good."""

    key: str
    title: str
    first: date
    last: date


def file_for(found: PlanOf, *, at: datetime, with_operation: bool = False) -> bytes:
    """Return the calendar as a file: an entry for each stage and each solid meal.

    `with_operation`: the patient asked that the day of the operation be named.
    """
    calendar = _calendar()
    calendar.add("method", "PUBLISH")
    return _written(calendar, found, _entries(found, with_operation=with_operation), at=at)


def feed_for(found: PlanOf, *, at: datetime, with_operation: bool) -> bytes:
    """Return the calendar that another program reads again and again.

    Without dates it has one entry for today that says so: an empty calendar is none, and a calendar
    that is not there leaves the old days standing.
    """
    calendar = _calendar()
    calendar.add("x-wr-calname", _("Plan"))
    calendar.add("refresh-interval", timedelta(hours=1), parameters={"VALUE": "DURATION"})
    if found.may_be_given:
        entries = list(_entries(found, with_operation=with_operation))
    else:
        title = _("Plan: there are no days just now. Call us.")
        entries = [Entry("no-days", title, found.today, found.today)]
    return _written(calendar, found, entries, at=at)


def _calendar() -> Calendar:
    calendar = Calendar()
    calendar.add("prodid", f"-//Clear by//Plan//{language().upper()}")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    return calendar


def _entries(found: PlanOf, *, with_operation: bool) -> Iterator[Entry]:
    spans: dict[str, list[date]] = {}
    for day in found.plan.days:
        for stage in day.stages:
            spans.setdefault(stage.key, []).append(day.day)
    for place, (key, days) in enumerate(spans.items(), start=1):
        title = _("Plan: part %(part)s of %(parts)s") % {"part": place, "parts": len(spans)}
        yield Entry(key, title, days[0], days[-1])
    for day in found.plan.days:
        if day.meal:
            # By its distance from the OR date, so that it moves with it and stays one entry.
            yield Entry(f"meal{day.offset}", _("Plan: a day you chose"), day.day, day.day)
    if with_operation and found.operation.or_date:
        or_date = found.operation.or_date
        yield Entry("operation", _("Your operation"), or_date, or_date)


def _written(
    calendar: Calendar, found: PlanOf, entries: Iterator[Entry] | list[Entry], *, at: datetime
) -> bytes:
    for entry in entries:
        calendar.add_component(_event(found, entry, at=at))
    written: bytes = calendar.to_ical()
    return written


def _event(found: PlanOf, entry: Entry, *, at: datetime) -> Event:
    event = Event()
    name = uuid.uuid5(SPACE, f"{settings.SECRET_KEY}:{found.operation.pk}:{entry.key}")
    event.add("uid", f"{name}@{urlsplit(settings.PUBLIC_URL).hostname}")
    event.add("dtstamp", at)
    event.add("dtstart", entry.first)
    event.add("dtend", entry.last + DAY)
    event.add("sequence", _sequence(found))
    event.add("summary", entry.title)
    event.add("description", "\n".join([*alarms(found), *_cautions()]))
    event.add("transp", "TRANSPARENT")
    event.add("class", "PRIVATE")
    return event


def _sequence(found: PlanOf) -> int:
    """Grow with each change that can move a day: the date, the stages, what was chosen."""
    chosen = found.operation.eating_choices.count()
    return found.operation.version + found.table.number + chosen


def _cautions() -> list[str]:
    return [
        _("Your plan says what to do. Does your care team say something else? Then do that."),
        _("If your date changes, these days are void. Ask for new ones."),
        _("Call before you start if you take insulin or other diabetes medicine."),
        _("Call first too with blood thinners, blood-pressure or water tablets, or if pregnant."),
        _("Do not stop or change a medicine on your own."),
        _("In an emergency, call your emergency number at once."),
    ]
