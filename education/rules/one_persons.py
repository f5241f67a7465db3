"""Does a text that everybody will read still hold the words or facts of one patient?

It looks for what can be found by comparing: a person has to read it all the same.
"""

import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

SAME_WORDS = 6  # so many of a patient's words in a row are the patient's sentence
SHORTEST_NAME = 3  # letters; shorter ones stand in every second sentence
SHORTEST_NUMBER = 5  # digits; of a telephone number, say
_WORD = re.compile(r"[^\W_]+")
_DAY = re.compile(r"\b\d{1,4}[/.-]\d{1,2}[/.-]\d{1,4}\b")
_ADDRESS = re.compile(r"\S+@\S+")


class Sign(StrEnum):
    """What points to one person."""

    COPIED = "copied"
    NAME = "name"
    NUMBER = "number"
    DAY = "day"
    ADDRESS = "address"


@dataclass(frozen=True)
class Found:
    """A sign, and the words in which it was found."""

    sign: Sign
    words: str


@dataclass(frozen=True)
class Person:
    """What is on record about whoever asked, as far as a text could name it."""

    names: tuple[str, ...]
    mrn: str
    phone: str
    birth_date: date


def signs(texts: Iterable[str], *, asked: str, person: Person | None) -> tuple[Found, ...]:
    """Return what in these texts may point to whoever asked, each thing once.

    `asked` is the question as it came in; `person` is None where nobody asked. Texts have to be of
    a limited length; nothing here backtracks.
    """
    found: dict[Found, None] = {}
    for text in texts:
        words = _words(text)
        for run in _shared(words, _words(asked)):
            found[Found(Sign.COPIED, run)] = None
        for day in _DAY.findall(text):
            found[Found(Sign.DAY, day)] = None
        for address in _ADDRESS.findall(text):
            found[Found(Sign.ADDRESS, address)] = None
        if person:
            found |= dict.fromkeys(_facts(text, words, person))
    return tuple(found)


def _facts(text: str, words: Sequence[str], person: Person) -> Iterable[Found]:
    names = {word for name in person.names for word in _words(name)}
    for word in words:
        if len(word) >= SHORTEST_NAME and word in names:
            yield Found(Sign.NAME, word)
    if person.mrn and _squeezed(person.mrn) in _squeezed(text):
        yield Found(Sign.NUMBER, person.mrn)
    digits, phone = _digits(text), _digits(person.phone)
    if len(phone) >= SHORTEST_NUMBER and phone in digits:
        yield Found(Sign.NUMBER, person.phone)


def _shared(words: Sequence[str], asked: Sequence[str]) -> Iterable[str]:
    """Return the first run of the patient's own words; a short question is one run as a whole."""
    size = min(SAME_WORDS, len(asked))
    if size < 2:
        return
    runs = {tuple(asked[i : i + size]) for i in range(len(asked) - size + 1)}
    for i in range(len(words) - size + 1):
        if tuple(words[i : i + size]) in runs:
            yield " ".join(words[i : i + size])
            return


def _words(text: str) -> list[str]:
    plain = unicodedata.normalize("NFKD", text.casefold())
    return _WORD.findall("".join(c for c in plain if unicodedata.category(c) != "Mn"))


def _squeezed(text: str) -> str:
    return "".join(_words(text))


def _digits(text: str) -> str:
    return "".join(c for c in text if c.isdecimal())
