"""Two whole names side by side, or one beside many: given, family, and crosswise."""

from collections.abc import Callable, Collection, Iterable
from operator import attrgetter
from typing import NamedTuple

from rapidfuzz.distance import OSA, JaroWinkler
from rapidfuzz.process import extract

from patients.rules.name_likeness import (
    RESEMBLES,
    Alike,
    Part,
    compare_family_parts,
    compare_given_parts,
    part,
    phonetic,
    short_forms,
)
from patients.rules.names import NormalName, words

WORTH_A_LOOK = 16  # fewer texts are compared as quickly one by one


class NameLikeness(NamedTuple):
    """How the given name and the family name of the second name are met by the first.

    `moved`: each by the other part of the first, or a word stood in the other field.
    `generation_differs`: both say which of the generations it is, and not the same (Sr and Jr).
    """

    given: Alike
    family: Alike
    moved: bool = False
    generation_differs: bool = False


EQUAL, DIFFERENT = Alike.EQUAL, Alike.DIFFERENT
# With a word in common, or a field empty, the words may stand in other fields; and where both parts
# agree ("Dung Duong"). Two that are exchanged and unlike are seen crosswise.
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


class _Pair(NamedTuple):
    """What a given and a family name say together; see `Beside.comparisons`."""

    straight: tuple[NameLikeness]
    equal: bool
    shares: bool
    agree: bool


# Both names equal, or the only name that there is.
ONE_NAME = ({Alike.EQUAL}, {Alike.EQUAL, Alike.BOTH_MISSING})


def _pair(given: Alike, family: Alike) -> _Pair:
    equal = {given, family} in ONE_NAME
    if equal:
        given = family = EQUAL
    shares, agree = SHARING & {given, family}, {given, family} <= AGREEING
    return _Pair((NameLikeness(given, family),), equal, bool(shares), agree)


ALIKE = {(given, family): _pair(given, family) for given in Alike for family in Alike}


def _nothing(text: str) -> Collection[str]:
    return ()


class _Alike(dict[str, Alike]):
    """How alike other texts are to one part of a name, each compared once."""

    def __init__(
        self,
        text: str,
        compare: Callable[[Part, Part], Alike],
        reads: Callable[[Part], Collection[str]],
        known: Callable[[str], Collection[str]] = _nothing,
    ) -> None:
        """`reads`: every string that `compare` reads of a part; `known`: what else it knows."""
        super().__init__()
        self._part, self._compare, self._reads, self._known = part(text), compare, reads, known

    def __missing__(self, text: str) -> Alike:
        alike = self[text] = self._compare(self._part, part(text))
        return alike

    def look_over(self, texts: Iterable[str]) -> None:
        """Note of many texts at once which are DIFFERENT: most are, and one by one that is slow.

        A text is, if nothing that a comparison reads of it is known, or a near miss, or sounds
        alike. What is left is compared when it is asked for.
        """
        new = {*texts} - self.keys()
        if len(new) < WORTH_A_LOOK or not self._part.joined:
            return
        several = {text: self._reads(part(text)) for text in new if not text.isalpha()}
        alone = new - several.keys()
        perhaps = self._perhaps(list(alone.union(*several.values())))
        self.update(dict.fromkeys(alone - perhaps, DIFFERENT))
        self.update(
            (text, DIFFERENT) for text, reads in several.items() if perhaps.isdisjoint(reads)
        )

    def _perhaps(self, strings: list[str]) -> set[str]:
        """Return those strings that a comparison may find alike, and perhaps others."""
        perhaps = {"", *self._known(self._part.first)}
        own = {*self._reads(self._part)}
        for form in own:
            similar = extract(
                form, strings, scorer=JaroWinkler.similarity, score_cutoff=RESEMBLES, limit=None
            )
            edited = extract(form, strings, scorer=OSA.distance, score_cutoff=1, limit=None)
            perhaps.update([string for string, *_ in similar], [string for string, *_ in edited])
        initials, sounds = {form[0] for form in own}, {phonetic(form) for form in own}
        initial_alone = 1 in map(len, own)
        for string in strings:
            if string[:1] in initials and (
                initial_alone or len(string) == 1 or phonetic(string) in sounds
            ):
                perhaps.add(string)
        return perhaps


def _to_given(text: str) -> _Alike:
    return _Alike(text, compare_given_parts, attrgetter("as_given"), short_forms)


def _to_family(text: str) -> _Alike:
    return _Alike(text, compare_family_parts, attrgetter("as_family"))


class Beside:
    """One name, to be laid beside many: many of them have a part in common."""

    def __init__(self, name: NormalName) -> None:
        self._generation = name.generation
        self._given, self._family = _to_given(name.given), _to_family(name.family)
        self._family_as_given = _to_given(name.family)
        self._given_as_family = _to_family(name.given)
        self._starts = name.family[:1], name.given[:1]
        self._letters = len(name.given) + len(name.family)
        given, family = words(name.given), words(name.family)
        self._words, self._exchanged = given + family, family + given

    def look_over(self, others: Iterable[NormalName]) -> None:
        """Compare the parts of many names at once, as far as that is quicker."""
        starts_as_given, starts_as_family = self._starts
        straight = [(given, family) for given, family, _ in others]
        crosswise = [
            (given, family)
            for given, family in straight
            if starts_as_given == given[:1] or starts_as_family == family[:1]
        ]
        self._given.look_over(given for given, _ in straight)
        self._family.look_over(family for _, family in straight)
        self._family_as_given.look_over(given for given, _ in crosswise)
        self._given_as_family.look_over(family for _, family in crosswise)

    def comparisons(self, other: NormalName) -> tuple[NameLikeness, ...]:
        """Return the ways in which both can be laid side by side: straight, and crosswise too.

        Crosswise only if something agrees that way; the caller takes the one that says most. Equal
        words in whatever field are one name.
        """
        others_given, others_family, generation = other
        given, family = self._given[others_given], self._family[others_family]
        straight, equal, shares, agree = ALIKE[given, family]
        differs = False
        if generation and self._generation and generation != self._generation:
            differs, straight = True, (straight[0]._replace(generation_differs=True),)
        if equal:
            return straight
        if (shares or agree) and self._has_the_words_of(other):
            return (NameLikeness(EQUAL, EQUAL, True, differs),)
        if agree:
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
        """The same words in one order, however they are spread over the two fields.

        Or with the fields of one of the two exchanged. "María José" and "José María" are two names.
        """
        if abs(len(other.given) + len(other.family) - self._letters) > 1 or not self._words:
            return False
        given, family = words(other.given), words(other.family)
        return given + family in (self._words, self._exchanged) or family + given == self._words


def comparisons(one: NormalName, other: NormalName) -> tuple[NameLikeness, ...]:
    """Return the ways in which two names can be laid side by side (`Beside.comparisons`)."""
    return Beside(one).comparisons(other)
