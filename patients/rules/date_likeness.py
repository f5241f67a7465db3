"""How alike are two dates of birth, as people mistype them?"""

from collections.abc import Iterable
from datetime import date
from enum import StrEnum
from functools import lru_cache
from typing import NamedTuple

from rapidfuzz.distance import OSA, Hamming
from rapidfuzz.process import extract

WORTH_A_LOOK = 16  # fewer dates are compared as quickly one by one


class WrittenDate(NamedTuple):
    """A date as it was written that no calendar has, like 30 February."""

    year: int
    month: int
    day: int


Born = date | WrittenDate | None


class DateAlike(StrEnum):
    """How alike two dates of birth are, the most alike first."""

    EQUAL = "equal"
    DAY_MONTH_EXCHANGED = "day_month_exchanged"
    DIGITS_EXCHANGED = "digits_exchanged"  # two neighbouring digits
    ONE_DIGIT = "one_digit"
    TWO_PARTS = "two_parts"  # two of year, month and day
    TWO_DIGITS = "two_digits"
    UNKNOWN = "unknown"  # one of them is
    BOTH_UNKNOWN = "both_unknown"
    DIFFERENT = "different"

    __hash__ = str.__hash__  # an enumeration's own is slow, and every comparison is looked up


# As near as one slip makes a date.
NEARLY = frozenset({DateAlike.DAY_MONTH_EXCHANGED, DateAlike.DIGITS_EXCHANGED, DateAlike.ONE_DIGIT})


def compare_dates(one: Born, other: Born) -> DateAlike:
    """Compare two dates of birth; symmetric."""
    if one is None or other is None:
        return DateAlike.UNKNOWN if one or other else DateAlike.BOTH_UNKNOWN
    if one == other:
        return DateAlike.EQUAL
    left, right = digits(one), digits(other)
    if left == right:
        return DateAlike.EQUAL
    same_year = left[:4] == right[:4]
    if same_year and left[4:] == right[6:] + right[4:6]:
        return DateAlike.DAY_MONTH_EXCHANGED
    slips = OSA.distance(left, right, score_cutoff=2)
    if slips == 1:
        one_digit = Hamming.distance(left, right) == 1
        return DateAlike.ONE_DIGIT if one_digit else DateAlike.DIGITS_EXCHANGED
    if same_year:
        two_parts = left[4:6] == right[4:6] or left[6:] == right[6:]
    else:
        two_parts = left[4:] == right[4:]
    if two_parts:
        return DateAlike.TWO_PARTS
    return DateAlike.TWO_DIGITS if slips == 2 else DateAlike.DIFFERENT


def dates_near(born: date) -> set[date]:
    """Return the dates that are NEARLY this one, of every century that has four digits."""
    text = digits(born)
    written = {text[:4] + text[6:] + text[4:6]}
    for at in range(len(text)):
        written |= {text[:at] + digit + text[at + 1 :] for digit in "0123456789"}
        written.add(with_neighbours_exchanged(text, at))
    return {found for one in written if (found := _date(one)) not in (None, born)}


def with_neighbours_exchanged(text: str, at: int) -> str:
    """Return a text with the character at a place, and the next one, exchanged."""
    return text[:at] + text[at + 1 : at + 2] + text[at] + text[at + 2 :]


def _date(text: str) -> date | None:
    try:
        return date(int(text[:4]), int(text[4:6]), int(text[6:]))
    except ValueError:
        return None


class BornBeside(dict[Born, DateAlike]):
    """How alike other dates are to one date of birth, each compared once."""

    def __init__(self, born: Born) -> None:
        super().__init__()
        self._born = born

    def __missing__(self, other: Born) -> DateAlike:
        alike = self[other] = compare_dates(self._born, other)
        return alike

    def look_over(self, dates: Iterable[Born]) -> None:
        """Note of many dates at once which are DIFFERENT: most are, and one by one that is slow.

        The rest, with the same year or the same day of the year or few slips, is compared when it
        is asked for.
        """
        new = {*dates} - self.keys() - {None}
        if self._born is None or len(new) < WORTH_A_LOOK:
            return
        own = digits(self._born)
        written = {digits(born): born for born in new if born is not None}
        few_slips = extract(own, written.keys(), scorer=OSA.distance, score_cutoff=2, limit=None)
        for slipped, *_ in few_slips:
            del written[slipped]
        year, day = own[:4], own[4:]
        self.update(
            (born, DateAlike.DIFFERENT)
            for text, born in written.items()
            if text[:4] != year and text[4:] != day
        )


def digits_in_common(one: Born, other: Born) -> int:
    """Count the digits that two dates of birth have in the same places, of eight."""
    if one is None or other is None:
        return 0
    return 8 - Hamming.distance(digits(one), digits(other))


@lru_cache(maxsize=1 << 16)
def digits(born: date | WrittenDate) -> str:
    """Return the date as eight digits, year first."""
    if isinstance(born, date):
        return born.isoformat().replace("-", "")
    return f"{born.year:04}{born.month:02}{born.day:02}"
