"""How alike are two names?  One typed answer for each part, never a bare number.

The string comparators are rapidfuzz's, the phonetic code is jellyfish's Metaphone, the short forms
are those of the `nicknames` package. Every comparison is symmetric.
"""

from collections.abc import Callable
from enum import StrEnum
from functools import lru_cache, partial
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
    """One part of a name with what is compared of it; `several`: it is not one word."""

    __slots__ = ("bearing", "first", "joined", "of_bearing", "several", "words")

    def __init__(self, text: str) -> None:
        self.several = " " in text or "-" in text
        if self.several:
            self.words, self.joined, self.first = words(text), joined(text), first_name(text)
            self.bearing = bearing(text)
            self.of_bearing = "".join(self.bearing)
        else:  # most are one word, and need no second look
            self.words = self.bearing = (text,)
            self.joined = self.first = self.of_bearing = text


_part = lru_cache(maxsize=1 << 16)(_Part)


def compare_given(one: str, other: str) -> Alike:
    """Compare two given names in normal form."""
    return _compare_given(_part(one), _part(other))


def compare_family(one: str, other: str) -> Alike:
    """Compare two family names in normal form."""
    return _compare_family(_part(one), _part(other))


def _compare_given(one: _Part, other: _Part) -> Alike:
    left, right = one.joined, other.joined
    if not left or not right:
        return Alike.MISSING if left or right else Alike.BOTH_MISSING
    if left == right:
        return Alike.EQUAL
    first, others_first = one.first, other.first
    if first == others_first:
        shorter, longer = sorted((one.words, other.words), key=len)
        return Alike.MIDDLE_NAME if longer[: len(shorter)] == shorter else Alike.SHARED
    if one_edit(left, right) or (len(first) >= LONG_ENOUGH and one_edit(first, others_first)):
        return Alike.ONE_EDIT
    if others_first in short_forms(first):
        return Alike.SHORT_FORM
    if (one.several or other.several) and not set(one.words).isdisjoint(other.words):
        return Alike.SHARED
    if first[0] == others_first[0] and 1 in (len(first), len(others_first)):
        return Alike.INITIAL
    return _by_sound_or_sight(left, right)


def _compare_family(one: _Part, other: _Part) -> Alike:
    left, right = one.joined, other.joined
    if not left or not right:
        return Alike.MISSING if left or right else Alike.BOTH_MISSING
    if left == right:
        return Alike.EQUAL
    if one.several or other.several:
        parts, others_parts = set(one.bearing), set(other.bearing)
        if parts <= others_parts or parts >= others_parts:
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


class _Alike(dict[str, Alike]):
    """How alike other texts are to one part of a name, each compared once."""

    def __init__(self, part: str, compare: Callable[[_Part, _Part], Alike]) -> None:
        super().__init__()
        self._beside = partial(compare, _part(part))

    def __missing__(self, text: str) -> Alike:
        alike = self[text] = self._beside(_part(text))
        return alike


class Beside:
    """One name, to be laid beside many: many of them have a part in common."""

    def __init__(self, name: NormalName) -> None:
        self._name = name
        self._given = _Alike(name.given, _compare_given)
        self._family = _Alike(name.family, _compare_family)
        self._family_as_given = _Alike(name.family, _compare_given)
        self._given_as_family = _Alike(name.given, _compare_family)
        self._starts = name.family[:1], name.given[:1]
        self._letters = len(name.given) + len(name.family)
        self._words = sorted(words(name.given) + words(name.family))

    def comparisons(self, other: NormalName) -> tuple[NameLikeness, ...]:
        """Return the ways in which both can be laid side by side: straight, and crosswise too.

        Crosswise only if something agrees that way; the caller takes the one that says most. Equal
        words in whatever field are one name.
        """
        others_given, others_family, generation = other
        given, family = self._given[others_given], self._family[others_family]
        own = self._name.generation
        differs = bool(own and generation and own != generation)
        straight = (NameLikeness(given, family, False, True),) if differs else ALIKE[given, family]
        if given is family is EQUAL:
            return straight
        if (given in SHARING or family in SHARING) and self._has_the_words_of(other):
            return (NameLikeness(EQUAL, EQUAL, True, differs),)
        if given in AGREEING and family in AGREEING:
            return straight
        # A quick look at the first letters spares most comparisons.
        starts_as_given, starts_as_family = self._starts
        if starts_as_given != others_given[:1] and starts_as_family != others_family[:1]:
            return straight
        given, family = self._family_as_given[others_given], self._given_as_family[others_family]
        if given in AGREEING or family in AGREEING:
            return *straight, NameLikeness(given, family, True, differs)
        return straight

    def _has_the_words_of(self, other: NormalName) -> bool:
        """The same words, however they are spread over the two fields."""
        if abs(len(other.given) + len(other.family) - self._letters) > 1 or not self._words:
            return False
        return sorted(words(other.given) + words(other.family)) == self._words


def comparisons(one: NormalName, other: NormalName) -> tuple[NameLikeness, ...]:
    """Return the ways in which two names can be laid side by side (`Beside.comparisons`)."""
    return Beside(one).comparisons(other)


EQUAL = Alike.EQUAL
# What is found of most names is one of these.
ALIKE = {(given, family): (NameLikeness(given, family),) for given in Alike for family in Alike}
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
