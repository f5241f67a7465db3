"""Which day does a cell of a schedule mean?  Never a guess: what can mean two days means none.

Dates are dates, not instants (standards row CAL-9): a time of day behind the date is passed over,
and a time with a zone is refused, because its date depends on where one stands.
"""

import re
from datetime import date
from enum import StrEnum

from patients.rules.schedule_reasons import Reason

EARLIEST_YEAR = 1900
LATEST_YEAR = 2100

MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "jan january ene enero",
            "feb february febrero",
            "mar march marzo",
            "apr april abr abril",
            "may mayo",
            "jun june junio",
            "jul july julio",
            "aug august ago agosto",
            "sep sept september septiembre setiembre",
            "oct october octubre",
            "nov november noviembre",
            "dec december dic diciembre",
        ),
        start=1,
    )
    for name in names.split()
}
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")

TIME_OF_DAY = re.compile(
    r"(?:[T ]|, )\s*\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?\s*(?:[AP]\.?M\.?)?$", re.I
)
ZONED = re.compile(r"\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?\s*(?:Z|UTC|GMT|[+-]\d{2}:?\d{2})$", re.I)
WEEKDAY = re.compile(r"(mon|tue|wed|thu|fri|sat|sun)[a-z]*\.?,?\s+(?=\S)", re.I)
YEAR_FIRST = re.compile(r"(\d{4})([-/.])(\d{1,2})\2(\d{1,2})$")
COMPACT = re.compile(r"(\d{4})(\d{2})(\d{2})$")
NUMBERS = re.compile(r"(\d{1,2})([-/.])(\d{1,2})\2(\d{2}|\d{4})$")
DAY_MONTH = re.compile(
    r"(\d{1,2})(?:st|nd|rd|th)?[-\s.]+(?:de\s+)?([^\W\d_]+)\.?,?[-\s]+(?:de\s+)?(\d{2}|\d{4})$"
)
MONTH_DAY = re.compile(r"([^\W\d_]+)\.?[-\s]+(\d{1,2})(?:st|nd|rd|th)?,?[-\s]+(\d{2}|\d{4})$")


class Order(StrEnum):
    """What a date in numbers can be read as."""

    DAY_FIRST = "day_first"
    MONTH_FIRST = "month_first"
    EITHER = "either"


def read_date(cell: str, *, day_first: bool | None) -> date | Reason:
    """Return the day a cell means, or why it means none.

    `day_first` is what a person chose for the file, None when nobody did. Once chosen, a date
    that can only be read the other way is refused as well: it says that the choice is wrong.
    """
    text = cell.strip().casefold()
    if ZONED.search(text):
        return Reason.ZONED_TIME
    text = TIME_OF_DAY.sub("", text)
    weekday = WEEKDAY.match(text)
    if weekday:
        text = text[weekday.end() :]
    found = _read(text, day_first)
    if weekday and isinstance(found, date) and found.weekday() != WEEKDAYS.index(weekday[1]):
        return Reason.WRONG_WEEKDAY
    return found


def order_of(cell: str) -> Order | None:
    """Say how a date in numbers can be read; None for every other form, or none that exists."""
    parts = NUMBERS.match(TIME_OF_DAY.sub("", cell.strip()))
    if not parts or len(parts[4]) != 4:
        return None
    first, second = int(parts[1]), int(parts[3])
    if first == second or not (1 <= first <= 31 and 1 <= second <= 31):
        return None
    if first <= 12 and second <= 12:
        return Order.EITHER
    if min(first, second) > 12:
        return None
    return Order.DAY_FIRST if first > 12 else Order.MONTH_FIRST


def _read(text: str, day_first: bool | None) -> date | Reason:
    if parts := YEAR_FIRST.match(text):
        return _day(parts[1], int(parts[3]), parts[4])
    if parts := COMPACT.match(text):
        return _day(parts[1], int(parts[2]), parts[3])
    if parts := NUMBERS.match(text):
        return _read_numbers(parts[1], parts[3], parts[4], day_first)
    if (parts := DAY_MONTH.match(text)) and parts[2] in MONTHS:
        return _day(parts[3], MONTHS[parts[2]], parts[1])
    if (parts := MONTH_DAY.match(text)) and parts[1] in MONTHS:
        return _day(parts[3], MONTHS[parts[1]], parts[2])
    return Reason.DATE_UNREADABLE


def _read_numbers(first: str, second: str, year: str, day_first: bool | None) -> date | Reason:
    if len(year) == 2:
        return Reason.TWO_DIGIT_YEAR
    order = order_of(f"{first}/{second}/{year}")
    if order is None:  # the same either way, or no day at all
        return _day(year, int(second), first)
    if order == Order.EITHER and day_first is None:
        return Reason.DATE_AMBIGUOUS
    if order == Order.EITHER:
        order = Order.DAY_FIRST if day_first else Order.MONTH_FIRST
    elif day_first is not None and day_first != (order == Order.DAY_FIRST):
        return Reason.AGAINST_DATE_ORDER
    if order == Order.DAY_FIRST:
        return _day(year, int(second), first)
    return _day(year, int(first), second)


def _day(year: str, month: int, day: str) -> date | Reason:
    if len(year) == 2:
        return Reason.TWO_DIGIT_YEAR
    if not EARLIEST_YEAR <= int(year) <= LATEST_YEAR:
        return Reason.IMPOSSIBLE_YEAR
    try:
        return date(int(year), month, int(day))
    except ValueError:
        return Reason.NO_SUCH_DAY
