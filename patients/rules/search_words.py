"""By which words is a patient found, and which words does a search text ask for?

What staff hear on the telephone comes in any order: "Okafor, 3 May 1980", "1980-05-03 okafor",
"MRN 00123 okafor". Each word of the text must begin a word of the patient: of a name, today's, a
former or a preferred one, or of the MRN; a date must be the date of birth. Nothing is found in the
middle of a word: that would mean reading a register of a million patients from end to end.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from patients.rules.names import joined, name_tokens
from patients.rules.schedule_dates import read_date

LONGEST = 100  # characters of a search that are read, and of a word that is kept
MOST_WORDS = 12  # words of a search that are looked for
LONGEST_DATE = 5  # words: 3 de mayo de 1980
# What stands before a number or a date when a page's line is copied; nobody's name.
LABELS = frozenset({"mrn", "dob"})


@dataclass(frozen=True)
class Asked:
    """One thing that a text asks for: the beginning of a word, or one of the days, or either."""

    begins: str = ""
    days: tuple[date, ...] = ()


def name_words(given_names: str, family_names: str) -> set[str]:
    """Return the words of a name; a part of several words also written together."""
    parts = [name_tokens(given_names), name_tokens(family_names)]
    together = {joined(" ".join(part)) for part in parts if len(part) > 1}
    return {word[:LONGEST] for word in {*parts[0], *parts[1], *together} if word}


def mrn_words(mrn: str) -> set[str]:
    """Return an MRN as it is written, without its blanks and dashes, and its parts."""
    parts = name_tokens(mrn)
    found = {*parts, "".join(parts), " ".join(mrn.casefold().split())}
    return {word[:LONGEST] for word in found if word}


def day_word(day: date) -> str:
    """Return the word of a date of birth."""
    return day.isoformat()


def read_search(text: str) -> list[Asked]:
    """Return what a text asks for; nothing, if there is no word in it."""
    pieces = text[:LONGEST].replace("\x00", " ").replace("·", " ").split()
    found = list(_read(pieces))
    afterwards = [*found[1:], Asked()]
    kept = [one for one, after in zip(found, afterwards, strict=False) if not _labels(one, after)]
    return (kept or found)[:MOST_WORDS]


def _labels(one: Asked, after: Asked) -> bool:
    """Say whether a word only tells what stands behind it. "Born" is a name, unless a date does."""
    return one.begins in LABELS or (one.begins == "born" and bool(after.days))


def days_of(asked: list[Asked]) -> tuple[date, ...]:
    """Return every day that a text was read as."""
    return tuple(dict.fromkeys(day for one in asked for day in one.days))


def days_meant(text: str) -> tuple[date, ...]:
    """Return the days that a text can mean, day first and month first; none if it is no date."""
    read = [read_date(text, day_first=day_first) for day_first in (False, True)]
    return tuple(dict.fromkeys(day for day in read if isinstance(day, date)))


def _read(pieces: list[str]) -> Iterator[Asked]:
    place = 0
    while place < len(pieces):
        taken, days = _date_at(pieces, place)
        if taken > 1:
            yield Asked(days=days)
        else:
            yield from _words(pieces[place], days)
        place += max(taken, 1)


def _date_at(pieces: list[str], place: int) -> tuple[int, tuple[date, ...]]:
    """Return how many pieces from here on are a date, the most first, and which days."""
    for count in range(min(LONGEST_DATE, len(pieces) - place), 0, -1):
        days = days_meant(" ".join(pieces[place : place + count]).rstrip(",;."))
        if days:
            return count, days
    return 0, ()


def _words(piece: str, days: tuple[date, ...]) -> Iterator[Asked]:
    """A date in one piece may also be an MRN; otherwise each part has to fit."""
    words = name_tokens(piece)
    if days:
        yield Asked("".join(words)[:LONGEST], days)
    else:
        yield from (Asked(word[:LONGEST]) for word in words)
