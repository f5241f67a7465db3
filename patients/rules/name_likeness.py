"""How alike are two names?  One typed answer for each part, never a bare number.

The string comparators are rapidfuzz's, the phonetic code is jellyfish's Metaphone, the short forms
are those of the `nicknames` package. Every comparison is symmetric.
"""

from enum import StrEnum
from functools import lru_cache
from typing import NamedTuple

from jellyfish import metaphone
from nicknames import NickNamer
from rapidfuzz.distance import OSA, JaroWinkler

from patients.rules.names import NormalName, bearing, first_name, joined, words

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


class NameLikeness(NamedTuple):
    """How the given name and the family name of the second name are met by the first.

    `moved`: each by the other part of the first, or a word stood in the other field.
    `generation_differs`: both say which of the generations it is, and not the same (Sr and Jr).
    """

    given: Alike
    family: Alike
    moved: bool = False
    generation_differs: bool = False


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


class _Part:
    """One part of a name with what is compared of it: made once, laid beside many."""

    __slots__ = ("bearing", "first", "initial", "joined", "of_bearing", "text", "words")

    def __init__(self, text: str) -> None:
        self.text, self.words, self.joined = text, words(text), joined(text)
        self.first, self.initial = first_name(text), text[:1]
        self.bearing = frozenset(bearing(text))
        self.of_bearing = "".join(bearing(text))


_part = lru_cache(maxsize=65536)(_Part)


def compare_given(one: str, other: str) -> Alike:
    """Compare two given names in normal form."""
    return _compare_given(_part(one), _part(other))


def compare_family(one: str, other: str) -> Alike:
    """Compare two family names in normal form."""
    return _compare_family(_part(one), _part(other))


def _compare_given(one: _Part, other: _Part) -> Alike:
    if not one.text or not other.text:
        return Alike.MISSING if one.text or other.text else Alike.BOTH_MISSING
    left, right = one.joined, other.joined
    if left == right:
        return Alike.EQUAL
    first, others_first = one.first, other.first
    if first == others_first:
        shorter, longer = sorted((one.words, other.words), key=len)
        return Alike.MIDDLE_NAME if longer[: len(shorter)] == shorter else Alike.SHARED
    if one_edit(left, right):
        return Alike.ONE_EDIT
    if len(first) >= LONG_ENOUGH and one_edit(first, others_first):
        return Alike.ONE_EDIT
    if others_first in short_forms(first):
        return Alike.SHORT_FORM
    if not set(one.words).isdisjoint(other.words):
        return Alike.SHARED
    if one.initial == other.initial and 1 in (len(first), len(others_first)):
        return Alike.INITIAL
    return _by_sound_or_sight(left, right)


def _compare_family(one: _Part, other: _Part) -> Alike:
    if not one.text or not other.text:
        return Alike.MISSING if one.text or other.text else Alike.BOTH_MISSING
    left, right = one.joined, other.joined
    if left == right:
        return Alike.EQUAL
    if len(one.words) > 1 or len(other.words) > 1:
        if one.bearing <= other.bearing or one.bearing >= other.bearing:
            return Alike.PART
        if not one.bearing.isdisjoint(other.bearing):
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


def comparisons(one: NormalName, other: NormalName) -> tuple[NameLikeness, ...]:
    """Return the ways in which two names can be laid side by side: straight, and crosswise too.

    Crosswise only if something agrees that way; the caller takes the one that says most. Equal
    words in whatever field are one name.
    """
    given = compare_given(one.given, other.given)
    family = compare_family(one.family, other.family)
    differs = bool(one.generation and other.generation and one.generation != other.generation)
    straight = NameLikeness(given, family, False, differs)
    if given == family == Alike.EQUAL:
        return (straight,)
    if (given in SHARING or family in SHARING) and _same_words(one, other):
        return (NameLikeness(Alike.EQUAL, Alike.EQUAL, True, differs),)
    if (given in AGREEING and family in AGREEING) or not _may_be_crosswise(one, other):
        return (straight,)
    given = compare_given(one.family, other.given)
    family = compare_family(one.given, other.family)
    if given in AGREEING or family in AGREEING:
        return straight, NameLikeness(given, family, True, differs)
    return (straight,)


def _same_words(one: NormalName, other: NormalName) -> bool:
    """The same words, however they are spread over the two fields."""
    lengths = len(one.given) + len(one.family), len(other.given) + len(other.family)
    if abs(lengths[0] - lengths[1]) > 1:
        return False
    left, right = words(one.given) + words(one.family), words(other.given) + words(other.family)
    return bool(left) and sorted(left) == sorted(right)


def _may_be_crosswise(one: NormalName, other: NormalName) -> bool:
    """A quick look at the first letters spares most comparisons."""
    return one.given[:1] == other.family[:1] or one.family[:1] == other.given[:1]


# Only with a word in common, or a field empty, can the words stand in other fields.
SHARING = frozenset({Alike.EQUAL, Alike.MIDDLE_NAME, Alike.PART, Alike.SHARED, Alike.MISSING})
# What speaks for one and the same name, and not by chance.
AGREEING = frozenset(
    {
        Alike.EQUAL,
        Alike.MIDDLE_NAME,
        Alike.ONE_EDIT,
        Alike.SHORT_FORM,
        Alike.PART,
        Alike.PHONETIC,
        Alike.CLOSE,
    }
)
