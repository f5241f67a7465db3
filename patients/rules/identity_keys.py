"""By which keys is a person found?  A key is a hash of something that two records may share.

The same keys serve the database's table and the register in memory. First the keys that hold a
date: the date of birth, and a sound of the name with two parts of it. Only when these find nobody
who is likely come the keys without a date.
"""

from collections.abc import Iterator
from datetime import date
from hashlib import blake2b
from struct import Struct

from patients.rules.date_likeness import (
    Born,
    WrittenDate,
    digits,
    with_neighbours_exchanged,
)
from patients.rules.name_likeness import phonetic
from patients.rules.names import NormalName, bearing, first_name, joined, words

# Words of one name that are looked at; a name of two hundred letters may have a hundred.
MOST_WORDS = 8
BEGINS = 4


SIGNED_64_BITS = Struct(">q")


def key(*kind_and_parts: str) -> int:
    """Return a key: a signed 64-bit hash."""
    hashed = blake2b("|".join(kind_and_parts).encode(), digest_size=8)
    number: int = SIGNED_64_BITS.unpack(hashed.digest())[0]
    return number


def keys_of(name: NormalName, born: Born) -> set[int]:
    """Return every key under which a name on the register is found."""
    return {
        *dated_keys(name, born),
        *word_keys(name),
        *namesake_keys(name),
        *loose_keys(name),
    }


def asked_first(name: NormalName, born: Born) -> set[int]:
    """Return the keys of the first pass: those that hold a date."""
    keys = set(dated_keys(name, born))
    if born is not None:
        year, month, day = _parts(born)
        keys.add(key("date", year, day, month))
        keys |= exchanged_digits_keys(born, ACROSS_PARTS)
    return keys


def asked_second(name: NormalName, born: Born) -> set[int]:
    """Return the keys of the second pass: of the name alone, or of a date that was mistyped."""
    return word_keys(name) | loose_keys(name) | exchanged_digits_keys(born, WITHIN_PARTS)


def dated_keys(name: NormalName, born: Born) -> Iterator[int]:
    """Yield the date of birth, and each sound with year-month, year-day and month-day."""
    if born is None:
        return
    year, month, day = _parts(born)
    yield key("date", year, month, day)
    for sound in sounds(name):
        yield key("sound-year-month", sound, year, month)
        yield key("sound-year-day", sound, year, day)
        yield key("sound-month-day", sound, month, day)


def _parts(born: date | WrittenDate) -> tuple[str, str, str]:
    return str(born.year), str(born.month), str(born.day)


# Where of eight digits two neighbours are exchanged; not in the century. Across two parts of a date
# only the whole date finds it, within one also a sound of the name with the two other parts.
WITHIN_PARTS, ACROSS_PARTS = (2, 4, 6), (3, 5)


def exchanged_digits_keys(born: Born, places: tuple[int, ...]) -> set[int]:
    """Return the keys of the dates that two neighbouring digits exchanged would make.

    As far as a calendar has them.
    """
    if born is None:
        return set()
    text = digits(born)
    swapped = (with_neighbours_exchanged(text, at) for at in places)
    return {
        key("date", d[:4], d[4:6].lstrip("0"), d[6:].lstrip("0"))
        for d in swapped
        if d != text and "01" <= d[4:6] <= "12" and "01" <= d[6:] <= "31"
    }


def word_keys(name: NormalName) -> set[int]:
    """Return the keys of the words in the name, and of each part written together."""
    found = {*words(name.given)[:MOST_WORDS], *words(name.family)[:MOST_WORDS]}
    return {word_key(word) for word in found | {joined(name.given), joined(name.family)} - {""}}


def word_key(word: str) -> int:
    """Return the key of everybody who has this word in the name."""
    return key("word", word)


def namesake_keys(name: NormalName) -> set[int]:
    """Return the keys of those who share the first given name and the family name, or a part."""
    families = _forms(name.family) or {""}
    return {namesake_key(first, family) for first in first_forms(name.given) for family in families}


def namesake_key(first: str, family: str) -> int:
    """Return the key of everybody with this first given name and this family name or part."""
    return key("namesake", first, family)


def exchanged_namesake_key(name: NormalName) -> int:
    """Return the key of everybody who has the two names in the other fields."""
    return namesake_key(first_word(name.family), first_word(name.given))


def first_forms(given: str) -> set[str]:
    """Return the first word, and all of them written together: "min-jun" is "minjun" as well."""
    return {first_word(given), joined(given)}


def first_word(given: str) -> str:
    """Return the first word of a given name, hyphen or not: it has the most namesakes."""
    return words(given)[0] if given else ""


def loose_keys(name: NormalName) -> set[int]:
    """Return the dateless keys of the second pass, for names that were mistyped.

    Given and family name that sound alike in either order; how both begin; how one begins.
    """
    given, family, first = joined(name.given), joined(name.family), first_name(name.given)
    keys = {
        key("sounds", *sorted((phonetic(first), phonetic(form))))
        for form in _forms(name.family) or {""}
    }
    if given and family:
        keys.add(key("starts", *sorted((given[:2], family[:2]))))
    return keys | {key("begins", part[:BEGINS]) for part in (given, family) if len(part) > BEGINS}


def sounds(name: NormalName) -> list[str]:
    """Return how the words of a name sound, each once."""
    return sorted({phonetic(word) for word in _forms(name.given) | _forms(name.family)})


def _forms(part: str) -> set[str]:
    return {joined(part), *bearing(part)[:MOST_WORDS]} if part else set()
