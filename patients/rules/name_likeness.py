"""How alike are two names?  One typed answer for each part, never a bare number.

The string comparators are rapidfuzz's, the phonetic code is jellyfish's Metaphone, the short forms
are those of the `nicknames` package. Every comparison is symmetric.
"""

from enum import StrEnum
from functools import lru_cache

from jellyfish import metaphone
from nicknames import NickNamer
from rapidfuzz.distance import OSA, JaroWinkler

from patients.rules.names import bearing, first_name, joined, words

CLOSE = 0.88  # Jaro-Winkler similarity, 0 to 1
RESEMBLES = 0.80
# Below this length one letter makes another name ("Ana" and "Eva", "Lee" and "Leo").
LONG_ENOUGH = 5


class Alike(StrEnum):
    """How alike one part of two names is, the most alike first."""

    EQUAL = "equal"
    MIDDLE_NAME = "middle_name"  # the first word equal, further ones added or dropped
    ONE_EDIT = "one_edit"  # a letter wrong, missing, too many, or two exchanged
    SHORT_FORM = "short_form"
    PART = "part"  # one is part of the other, a compound
    SHARED = "shared"  # a word in common, and each has others
    INITIAL = "initial"
    PHONETIC = "phonetic"
    CLOSE = "close"
    RESEMBLES = "resembles"
    MISSING = "missing"  # one of them is empty
    BOTH_MISSING = "both_missing"
    DIFFERENT = "different"

    __hash__ = str.__hash__  # an enumeration's own is slow, and every comparison is looked up


# The phonetic table of the package knows no accents and no other scripts; normal form has none.
_NICKNAMES = NickNamer()


@lru_cache(maxsize=65536)
def phonetic(word: str) -> str:
    """Return what words that sound alike have in common; a word of another script is its own."""
    return (metaphone(word) if word.isascii() else "") or word


@lru_cache(maxsize=65536)
def short_forms(word: str) -> frozenset[str]:
    """Return the known short and long forms of a given name."""
    return frozenset(_NICKNAMES.nicknames_of(word) | _NICKNAMES.canonicals_of(word))


def one_edit(one: str, other: str) -> bool:
    """One letter substituted, added or dropped, or two neighbours exchanged."""
    return abs(len(one) - len(other)) <= 1 and OSA.distance(one, other, score_cutoff=1) == 1


class Part:
    """One part of a name with what is compared of it; `several`: it is not one word.

    `as_given`, `as_family`: every string that a comparison reads.
    """

    __slots__ = (
        "as_family",
        "as_given",
        "bearing",
        "first",
        "joined",
        "of_bearing",
        "several",
        "words",
    )

    def __init__(self, text: str) -> None:
        self.several = " " in text or "-" in text
        if self.several:
            self.words, self.joined, self.first = words(text), joined(text), first_name(text)
            self.bearing = bearing(text)
            self.of_bearing = "".join(self.bearing)
            self.as_given = (self.joined, self.first, *self.words)
            self.as_family = (self.joined, self.of_bearing, *self.bearing)
        else:  # most are one word, and need no second look
            self.words = self.bearing = (text,)
            self.joined = self.first = self.of_bearing = text
            self.as_given = self.as_family = (text,)


part = lru_cache(maxsize=1 << 16)(Part)


def compare_given(one: str, other: str) -> Alike:
    """Compare two given names in normal form."""
    return compare_given_parts(part(one), part(other))


def compare_family(one: str, other: str) -> Alike:
    """Compare two family names in normal form."""
    return compare_family_parts(part(one), part(other))


def compare_given_parts(one: Part, other: Part) -> Alike:
    left, right = one.joined, other.joined
    if not left or not right:
        return Alike.MISSING if left or right else Alike.BOTH_MISSING
    if left == right:
        return Alike.EQUAL
    first, others_first = one.first, other.first
    if first == others_first:
        shorter, longer = sorted((one.words, other.words), key=len)
        rest = iter(longer)
        in_order = all(word in rest for word in shorter)
        return Alike.MIDDLE_NAME if in_order else Alike.SHARED
    long_enough = min(len(first), len(others_first)) >= LONG_ENOUGH
    if one_edit(left, right) or (long_enough and one_edit(first, others_first)):
        return Alike.ONE_EDIT
    if others_first in short_forms(first):
        return Alike.SHORT_FORM
    if (one.several or other.several) and not set(one.words).isdisjoint(other.words):
        return Alike.SHARED
    if first[0] == others_first[0] and 1 in (len(first), len(others_first)):
        return Alike.INITIAL
    return _by_sound_or_sight(left, right)


def compare_family_parts(one: Part, other: Part) -> Alike:
    left, right = one.joined, other.joined
    if not left or not right:
        return Alike.MISSING if left or right else Alike.BOTH_MISSING
    if left == right:
        return Alike.EQUAL
    if one.several or other.several:
        parts, others_parts = set(one.bearing), set(other.bearing)
        if parts == others_parts and one.bearing != other.bearing:
            return Alike.SHARED  # in another order they are another name
        # All words of one: "de la cruz" is no part of "santa cruz", nor the other way round.
        if parts <= others_parts and {*one.words} <= {*other.words}:
            return Alike.PART
        if parts >= others_parts and {*one.words} >= {*other.words}:
            return Alike.PART
        if not parts.isdisjoint(others_parts):
            return Alike.SHARED
    if one_edit(left, right):
        return Alike.ONE_EDIT
    return _by_sound_or_sight(one.of_bearing, other.of_bearing)


def _by_sound_or_sight(left: str, right: str) -> Alike:
    if left[0] == right[0] and phonetic(left) == phonetic(right):
        return Alike.PHONETIC
    similarity = JaroWinkler.similarity(left, right, score_cutoff=RESEMBLES)
    if similarity >= CLOSE:
        return Alike.CLOSE
    return Alike.RESEMBLES if similarity else Alike.DIFFERENT
