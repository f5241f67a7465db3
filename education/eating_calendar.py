"""A patient's eating plan as a calendar file (RFC 5545).

A day is a date in no time zone, and DTEND is the day after the last one. Calendars stand on locked
phones and on servers of others: titles are neutral and name neither the operation nor the programme
(standards ICS-6). The same entry keeps its UID when the OR date moves, and its SEQUENCE grows.
"""

import uuid
from datetime import date, datetime, timedelta
from urllib.parse import urlsplit

from django.conf import settings
from django.utils.translation import gettext as _
from icalendar import Calendar, Event

from education.eating_texts import language
from education.plan_of import PlanOf

SPACE = uuid.uuid5(uuid.NAMESPACE_URL, "eating-plan")


def file_for(found: PlanOf, *, at: datetime) -> bytes:
    """Return the calendar, an entry for each stage and each solid meal."""
    calendar = Calendar()
    calendar.add("prodid", f"-//Clear by//Plan//{language().upper()}")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    spans: dict[str, list[date]] = {}
    for day in found.plan.days:
        for stage in day.stages:
            spans.setdefault(stage.key, []).append(day.day)
    for place, (key, days) in enumerate(spans.items(), start=1):
        title = _("Plan: part %(part)s of %(parts)s") % {"part": place, "parts": len(spans)}
        calendar.add_component(_entry(found, key, title, days[0], days[-1], at=at))
    for day in found.plan.days:
        if day.meal:
            title = _("Plan: a day you chose")
            # By its distance from the OR date, so that it moves with it and stays one entry.
            key = f"meal{day.offset}"
            calendar.add_component(_entry(found, key, title, day.day, day.day, at=at))
    written: bytes = calendar.to_ical()
    return written


def _entry(found: PlanOf, key: str, title: str, first: date, last: date, *, at: datetime) -> Event:
    event = Event()
    name = uuid.uuid5(SPACE, f"{settings.SECRET_KEY}:{found.operation.pk}:{key}")
    event.add("uid", f"{name}@{urlsplit(settings.PUBLIC_URL).hostname}")
    event.add("dtstamp", at)
    event.add("dtstart", first)
    event.add("dtend", last + timedelta(days=1))
    event.add("sequence", _sequence(found))
    event.add("summary", title)
    event.add("description", "\n".join(_cautions()))
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
