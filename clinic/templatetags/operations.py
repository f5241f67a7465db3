"""How the pages about operations write instants and offsets."""

from datetime import datetime
from zoneinfo import ZoneInfo

from django import template

from clinic.day_words import days as words_for_days

register = template.Library()


@register.filter
def with_zone(at: datetime, zone: ZoneInfo) -> str:
    """Return an instant as local time with its zone: 14:03 MST, Tue 3 Feb 2026."""
    there = at.astimezone(zone)
    return f"{there:%H:%M %Z}, {there:%a} {there.day} {there:%b %Y}"


@register.filter
def offset(days: int) -> str:
    """Return an offset from the OR date in words, to be followed by "the OR date"."""
    if days == 0:
        return "the day of"
    count = words_for_days(abs(days))
    return f"{count} before" if days < 0 else f"{count} after"
