"""Dates and times of day as patients read them, in the language that is active.

A date always has the month's name. English and Spanish are written our way; any other language as
the Unicode locale data (CLDR, by the package babel) writes it, and in English where that has none.
"""

from datetime import date, time
from typing import Literal

from babel import Locale, UnknownLocaleError
from babel.dates import format_date as cldr_date
from babel.dates import format_skeleton, get_date_format
from django.utils.dateformat import format as format_date
from django.utils.dateformat import time_format
from django.utils.translation import get_language

from patients.rules.languages import SOURCE_LANGUAGE, added, codes

LONG = {"en": "l, F j, Y", "es": r"l j \d\e F \d\e Y"}
PLAIN = {"en": "F j, Y", "es": r"j \d\e F \d\e Y"}
SHORT = {"en": "D, F j", "es": r"D j \d\e F"}
CLOCK = {"en": "g:i A", "es": "H:i"}
_FORMS = ("format", "stand-alone")
_PARTS = {"d": "day", "M": "month", "y": "year"}


def language() -> str:
    """Return the code of the active language, English if it is none that patients are offered."""
    active = (get_language() or "").lower()
    known = codes()
    return next((code for code in (active, active[:2]) if code in known), SOURCE_LANGUAGE)


def long_day(day: date) -> str:
    """Return a date with its weekday and the month's name."""
    return _written(day, LONG, "full")


def plain_day(day: date) -> str:
    """Return a date with the month's name, without its weekday."""
    return _written(day, PLAIN, "long")


def short_day(day: date) -> str:
    """Return a date for a list: no year, the weekday cut short, the month's name in full."""
    locale = _locale(language())
    if locale is None or language() in SHORT:
        return format_date(day, SHORT.get(language(), SHORT[SOURCE_LANGUAGE]))
    for skeleton in ("MMMMEd", "MMMEd"):
        if skeleton in locale.datetime_skeletons:
            return str(format_skeleton(skeleton, day, locale=locale))
    return plain_day(day)


def clock(at: time) -> str:
    """Return a time of day."""
    return time_format(at, CLOCK.get(language(), "H:i"))


def date_parts() -> list[str]:
    """Return "day", "month" and "year" in the order in which the language writes a date."""
    locale = _locale(language())
    if locale is None:
        return ["month", "day", "year"]
    pattern = str(get_date_format("short", locale=locale).pattern)
    return [_PARTS[letter] for letter in sorted(_PARTS, key=pattern.find)]


def month_names() -> list[list[str]]:
    """Return the names of the twelve months in the languages beside English and Spanish, as a date
    has them and as they stand alone; [] without such a language.
    """
    locales = [locale for one in added() if (locale := _locale(one.code))]
    return [
        [str(locale.months[form]["wide"][n]) for locale in locales for form in _FORMS]
        for n in range(1, 13)
        if locales
    ]


def _written(day: date, ours: dict[str, str], cldr: Literal["full", "long"]) -> str:
    code = language()
    locale = _locale(code)
    if code in ours or locale is None:
        return format_date(day, ours.get(code, ours[SOURCE_LANGUAGE]))
    return str(cldr_date(day, cldr, locale=locale))


def _locale(code: str) -> Locale | None:
    try:
        return Locale.parse(code, sep="-")
    except (UnknownLocaleError, ValueError):
        return None
