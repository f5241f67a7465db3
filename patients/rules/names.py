"""When do two written names count as the same name?

Names are compared in a normal form only; what was typed is stored and shown unchanged.
"""

import unicodedata
from dataclasses import dataclass
from functools import cached_property

# Letters that compatibility decomposition leaves whole. Common practice in record linkage.
LETTERS = str.maketrans(
    {"ß": "ss", "ø": "o", "ł": "l", "đ": "d", "ð": "d", "æ": "ae", "œ": "oe", "þ": "th", "ı": "i"}
)

# What is typed or pasted for an apostrophe, half rings of transliterated Arabic included.
APOSTROPHES = "'`´ʼ‘’‛′‵＇｀ʻʹʾʿꞌꞋ"


def name_tokens(name: str) -> tuple[str, ...]:
    """Return the words of a name in lower case without accents, marks or punctuation.

    Apostrophes join ("O'Neill" is one word), hyphens and every kind of space part. Scripts that
    have no case or accents come through unchanged. Shape: a tuple of non-empty words, in order.
    """
    joined = "".join(char for char in name if char not in APOSTROPHES)
    # Folded again: decorative letters have a case only once they are decomposed.
    decomposed = unicodedata.normalize("NFKD", joined.casefold()).casefold()
    lowered = decomposed.translate(LETTERS)
    words = [""]
    latin = False
    for char in lowered:
        category = unicodedata.category(char)
        if category[0] in "LN":
            latin = unicodedata.name(char, "").startswith("LATIN")
            words[-1] += char
        elif category[0] == "M" and not latin and not _selects_a_glyph(char):
            words[-1] += char  # a vowel sign of another script is part of the name
        elif category[0] in "ZPS" or category == "Cc":
            words.append("")
        # Latin accents and invisible format characters vanish without parting a word.
    return tuple(word for word in words if word)


def _selects_a_glyph(char: str) -> bool:
    """Variation selectors (Unicode standard, section 23.4) say how to draw a character."""
    return "\ufe00" <= char <= "\ufe0f" or "\U000e0100" <= char <= "\U000e01ef"


def name_key(given_names: str, family_names: str) -> str:
    """Return one text that is equal for names with the same words in any order."""
    return " ".join(sorted(name_tokens(given_names) + name_tokens(family_names)))


# Words before or behind a name that are no part of it. Only words that are nobody's name are listed
# ("Don" and "Do" are names). Common practice in record linkage.
TITLES = frozenset(
    "mr mrs ms miss mx dr dra prof rev sir sr sra srta mme mlle herr frau".split()  # noqa: SIM905
)
DEGREES = frozenset({"md", "phd", "rn", "rd", "dds", "esq"})
GENERATIONS = {"sr": "1", "jr": "2", "ii": "2", "2nd": "2", "iii": "3", "3rd": "3", "iv": "4"}
# Words inside a family name that many families share: they say nothing alone.
PARTICLES = frozenset(
    "de del la las los da das do dos di du le van von der den ter el al bin ibn ben "  # noqa: SIM905
    "y e san santa st mac".split()
)


@dataclass(frozen=True)
class Words:
    """Part of a name in normal form: its words in order, none of them empty."""

    words: tuple[str, ...]

    @cached_property
    def joined(self) -> str:
        """Written together: "de la cruz" and "delacruz" are one name."""
        return "".join(self.words)

    @cached_property
    def bearing(self) -> tuple[str, ...]:
        """The words that tell families apart: all but the particles, if any are left."""
        return tuple(w for w in self.words if w not in PARTICLES) or self.words

    def __bool__(self) -> bool:
        return bool(self.words)

    def __str__(self) -> str:
        return " ".join(self.words)


@dataclass(frozen=True)
class NormalName:
    """A name as it is compared: no case, accents, titles or degrees.

    `generation` is "1" for Sr, "2" for Jr and II, and so on; empty if the name says nothing of it.
    """

    given: Words
    family: Words
    generation: str = ""

    @cached_property
    def words(self) -> tuple[str, ...]:
        """All words, sorted: equal for one name however it is spread over the two fields."""
        return tuple(sorted(self.given.words + self.family.words))

    @cached_property
    def all_joined(self) -> str:
        """The sorted words, written together."""
        return "".join(self.words)


def normal_name(given_names: str, family_names: str) -> NormalName:
    """Return the form in which a name is compared. A field of titles only keeps them."""
    given, of_given = _without_suffixes(_without_titles(name_tokens(given_names)), degrees=False)
    family, of_family = _without_suffixes(_without_titles(name_tokens(family_names)), degrees=True)
    return NormalName(Words(given), Words(family), of_family or of_given)


def _without_titles(words: tuple[str, ...]) -> tuple[str, ...]:
    while len(words) > 1 and words[0] in TITLES:
        words = words[1:]
    return words


def _without_suffixes(words: tuple[str, ...], *, degrees: bool) -> tuple[tuple[str, ...], str]:
    generation = ""
    while len(words) > 1:
        last = words[-1]
        if last in GENERATIONS:
            generation = GENERATIONS[last]
        elif not (degrees and last in DEGREES):
            break
        words = words[:-1]
    return words, generation
