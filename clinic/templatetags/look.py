"""How a date and a standing look on every staff page."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from clinic.day_words import away as away_words
from clinic.day_words import day as day_words
from clinic.words import BOOKING, MAIL, NAME_KIND, NEXT_STEP, STANDING
from education.models import MessageState
from education.rules.next_step import NextStep
from education.rules.standing import Standing
from patients.rules.identity import NameKind
from patients.rules.languages import name_of

register = template.Library()

# A shape for each standing, told apart without colour and in black and white print.
SHAPE = {
    Standing.LATE: '<path d="M8 1 15.5 15H.5z"/>',
    Standing.DUE: '<path d="M8 1a7 7 0 0 0 0 14z"/><circle class="hollow" cx="8" cy="8" r="6.5"/>',
    Standing.NEEDS_SIGN_OFF: '<path class="hollow" d="M2 2h12v12H2zM5 11h6"/>',
    Standing.CLEARED: '<path class="hollow" d="m2 8.5 4 4.5 8-10"/>',
    Standing.NOT_DUE: '<circle class="hollow" cx="8" cy="8" r="6"/>',
}


@register.simple_tag
def standing_mark(standing: Standing) -> SafeString:
    """Return a standing as its shape and its word."""
    return format_html(
        '<span class="standing standing-{}"><svg viewBox="0 0 16 16" aria-hidden="true">{}</svg>'
        "{}</span>",
        standing.value,
        mark_safe(SHAPE[standing]),  # our own constant
        STANDING[standing],
    )


@register.filter
def day(value: date | None) -> str:
    """Return a date with the month's name, or nothing."""
    return day_words(value) if value else ""


@register.filter
def away(value: date | None, on: date) -> str:
    """Return how far a date is from the day `on`, or nothing."""
    return away_words(value, on=on) if value else ""


@register.filter
def local(at: datetime | None, zone: ZoneInfo) -> str:
    """Return an instant as the programme's local date and time: 5 December 2026, 08:12."""
    if at is None:
        return ""
    there = at.astimezone(zone)
    return f"{day_words(there.date())}, {there:%H:%M}"


@register.filter
def booking_words(booking: str) -> str:
    """Return a booking's word."""
    return next((words for known, words in BOOKING.items() if known == booking), booking)


@register.filter
def step_words(step: NextStep) -> str:
    """Return a next step in words."""
    return NEXT_STEP[step]


@register.filter
def name_kind_words(kind: str) -> str:
    """Return how an other name is said beside the current one: formerly, prefers."""
    return NAME_KIND[NameKind(kind)]


@register.filter
def tel(phone: str) -> str:
    """Return a phone number as a tel: address takes it, without spaces and brackets."""
    return "".join(char for char in phone if char.isdigit() or char in "+,;*#")


@register.filter
def row_id(pk: int) -> str:
    """Return the name of an assignment's row on the morning list."""
    return f"row-{pk}"


@register.filter
def mail_words(state: str) -> str:
    """Return what became of an email, in words."""
    return MAIL[MessageState(state)]


@register.filter
def language_words(code: str) -> str:
    """Return a language's name."""
    return name_of(code)
