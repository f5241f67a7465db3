"""Which day was typed as a date of birth?

Three fields, never one string: 03/04 means two days in two countries. The month may be a number or
a name, in English, Spanish or a further language, whole or cut short. What cannot be a date of
birth is said, field by field; nothing is guessed.
"""

import calendar
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

MAX_LENGTH = 40  # of one field, in characters; checked before anything else is
OLDEST = 120  # years
SHORTEST_NAME = 3  # letters; "ma" could be March or May

MONTHS = (
    ("january", "enero"),
    ("february", "febrero"),
    ("march", "marzo"),
    ("april", "abril"),
    ("may", "mayo"),
    ("june", "junio"),
    ("july", "julio"),
    ("august", "agosto"),
    ("september", "septiembre", "setiembre"),
    ("october", "octubre"),
    ("november", "noviembre"),
    ("december", "diciembre"),
)

# 3rd, 1st; 1o, 1.º, 1ro: how people write a day of the month in both languages.
_ORDINAL = re.compile(r"(\d{1,2})\s?\.?\s?(?:st|nd|rd|th|º|°|o|ro|ero)\.?")


class Field(StrEnum):
    DAY = "day"
    MONTH = "month"
    YEAR = "year"


class Code(StrEnum):
    EMPTY = "empty"
    TOO_LONG = "too_long"
    NOT_A_NUMBER = "not_a_number"
    NO_SUCH_DAY = "no_such_day"
    NO_SUCH_MONTH = "no_such_month"
    UNKNOWN_MONTH = "unknown_month"
    TWO_DIGIT_YEAR = "two_digit_year"
    NOT_FOUR_DIGITS = "not_four_digits"
    IN_THE_FUTURE = "in_the_future"
    TOO_LONG_AGO = "too_long_ago"


@dataclass(frozen=True)
class Problem:
    """What is wrong, and in which of the three fields."""

    field: Field
    code: Code


def read_birth_date(
    day: str, month: str, year: str, *, on: date, months: Sequence[Sequence[str]] = ()
) -> date | tuple[Problem, ...]:
    """Return the day that was typed, or what is wrong with it, in the order day, month, year.

    `months`: the names of the twelve months in further languages, January's first.

    Digits of every script are read. `on` is today: a date of birth is not after it, and at most
    120 years before it.
    """
    d, m, y = _read_day(day), _read_month(month, months), _read_year(year, on=on)
    if isinstance(d, int) and isinstance(m, int) and d > _longest(m, y):
        d = Code.NO_SUCH_DAY
    if isinstance(d, Code) or isinstance(m, Code) or isinstance(y, Code):
        return tuple(
            Problem(field, part)
            for field, part in zip(Field, (d, m, y), strict=True)
            if isinstance(part, Code)
        )
    born = date(y, m, d)
    if born > on:
        return (Problem(_later_part(born, on), Code.IN_THE_FUTURE),)
    if (on.year - y, on.month, on.day) > (OLDEST, m, d):
        return (Problem(Field.YEAR, Code.TOO_LONG_AGO),)
    return born


def _read_day(typed: str) -> int | Code:
    text = _plain(typed)
    if isinstance(text, Code):
        return text
    ordinal = _ORDINAL.fullmatch(text)
    digits = ordinal[1] if ordinal else text
    if not digits.isdecimal():
        return Code.NOT_A_NUMBER
    return int(digits) if 1 <= int(digits) <= 31 else Code.NO_SUCH_DAY


def _read_month(typed: str, further: Sequence[Sequence[str]]) -> int | Code:
    text = _plain(typed)
    if isinstance(text, Code):
        return text
    if text.isdecimal():
        return int(text) if 1 <= int(text) <= 12 else Code.NO_SUCH_MONTH
    name = text.removesuffix(".")
    others = [[_folded(one) for one in names] for names in further] or [[]] * len(MONTHS)
    fitting = [
        number
        for number, names in enumerate(zip(MONTHS, others, strict=True), start=1)
        if len(name) >= SHORTEST_NAME
        and any(known.startswith(name) for listed in names for known in listed)
    ]
    return fitting[0] if len(fitting) == 1 else Code.UNKNOWN_MONTH


def _read_year(typed: str, *, on: date) -> int | Code:
    text = _plain(typed)
    if isinstance(text, Code):
        return text
    digits = text.removeprefix("'")
    if not digits.isdecimal():
        return Code.NOT_A_NUMBER
    if len(digits) == 2:
        return Code.TWO_DIGIT_YEAR
    if len(digits) != 4:
        return Code.NOT_FOUR_DIGITS
    year = int(digits)
    if year > on.year:
        return Code.IN_THE_FUTURE
    return year if year >= on.year - OLDEST else Code.TOO_LONG_AGO


def _longest(month: int, year: int | Code) -> int:
    """The last day of a month; of a leap year's while the year is not known."""
    return calendar.monthrange(year if isinstance(year, int) else 2000, month)[1]


def _plain(typed: str) -> str | Code:
    """Return what was typed in small letters without accents and outer blanks.

    The decomposition also turns fullwidth digits into plain ones.
    """
    if len(typed) > MAX_LENGTH:
        return Code.TOO_LONG
    return _folded(typed) or Code.EMPTY


def _folded(text: str) -> str:
    decomposed = unicodedata.normalize("NFKD", text.casefold())
    return "".join(
        char for char in decomposed if unicodedata.category(char) not in {"Mn", "Cf"}
    ).strip()


def _later_part(born: date, on: date) -> Field:
    """The field that makes a day of this year come after today."""
    return Field.MONTH if born.month > on.month else Field.DAY
