"""When do two written names count as the same name?

Names are compared in a normal form only; what was typed is stored and shown unchanged.
"""

import re
import unicodedata
from functools import lru_cache
from typing import NamedTuple

# Letters that compatibility decomposition leaves whole. Common practice in record linkage.
LETTERS = str.maketrans(
    {"ß": "ss", "ø": "o", "ł": "l", "đ": "d", "ð": "d", "æ": "ae", "œ": "oe", "þ": "th", "ı": "i"}
)

# What is typed or pasted for an apostrophe, half rings of transliterated Arabic included.
APOSTROPHES = "'`´ʼ‘’‛′‵＇｀ʻʹʽʾʿˀˁˈˊˋꞌꞋ՚׳΄᾽᾿"
NO_APOSTROPHES = dict.fromkeys(map(ord, APOSTROPHES))
# What is typed or pasted for a hyphen, beside Unicode's category Pd: what else has its property
# Dash (decomposition makes a minus sign of the small ones), and what stands for one in a word.
HYPHENS = "−⁓⁃˗·‧_~="
# Nobody reads them: Hangul's fillers, which decompose to these, the line that stretches an Arabic
# word, and the joiner of graphemes. By their category they are letters, or a mark.
FILLERS = dict.fromkeys(map(ord, "\u115f\u1160\u0640\u034f"))
FOLDED = LETTERS | NO_APOSTROPHES | FILLERS | dict.fromkeys(map(ord, HYPHENS), "-")
NOT_IN_A_WORD = re.compile(r"[^a-z0-9-]+")
BLANKS_ROUND_A_HYPHEN = re.compile(r" ?-[ -]*")
# Alphabets whose marks are left out at will: accents, also the Greek ones that capitals go without,
# and the signs for vowels. So are the two dots of the Russian ё. In other scripts a mark is part of
# the name.
MARKS_ARE_OPTIONAL = ("LATIN", "GREEK", "HEBREW", "ARABIC")
YO = ("е", "\u0308")
BROKEN_LINE = re.compile("\u00ad\\s+")  # pasted from lines that were broken in a word


def name_tokens(name: str) -> tuple[str, ...]:
    """Return the words of a name in lower case without accents or punctuation.

    Apostrophes join ("O'Neill" is one word), hyphens and every kind of space part. Scripts that
    have no case or accents come through unchanged. Shape: a tuple of non-empty words, in order.
    """
    return tuple(word for unit in name_units(name) for word in unit.split("-"))


def name_units(name: str) -> tuple[str, ...]:
    """Return what is parted by more than a hyphen: ("anne-marie", "lucia"), in normal form."""
    if name.isascii():  # most are, and the rest of this is slow
        plain = NOT_IN_A_WORD.sub(" ", name.lower().translate(FOLDED))
        return _joined_by_hyphens(plain)
    return _joined_by_hyphens(_plain(name))


def _plain(name: str) -> str:
    """Return a name with nothing in it but letters, digits, hyphens and blanks."""
    # Apostrophes go before decomposition, which makes blanks of some, and again behind it.
    unmarked = BROKEN_LINE.sub("-", name).translate(NO_APOSTROPHES)
    # Folded again: decorative letters have a case only once they are decomposed.
    decomposed = unicodedata.normalize("NFKD", unmarked.casefold()).casefold()
    parted = []
    letter, optional = "", False
    for char in decomposed.translate(FOLDED):
        category = unicodedata.category(char)
        if category[0] in "LN":
            letter, optional = char, unicodedata.name(char, "").startswith(MARKS_ARE_OPTIONAL)
            parted.append(char)
        elif category[0] == "M":
            if not (optional or (letter, char) == YO or _selects_a_glyph(char)):
                parted.append(char)
        elif category == "Pd":
            parted.append("-")
        elif category[0] in "ZPS" or category == "Cc":
            parted.append(" ")
        # What is left are invisible format characters: they vanish without parting a word.
    # Marks that stand together now come in the order of the standard.
    return unicodedata.normalize("NFD", "".join(parted))


def _joined_by_hyphens(plain: str) -> tuple[str, ...]:
    once = " ".join(plain.split())
    units = (unit.strip("-") for unit in BLANKS_ROUND_A_HYPHEN.sub("-", once).split())
    return tuple(filter(None, units))


def _selects_a_glyph(char: str) -> bool:
    """Variation selectors (Unicode standard, section 23.4) say how to draw a character."""
    return "\ufe00" <= char <= "\ufe0f" or "\U000e0100" <= char <= "\U000e01ef"


def name_key(given_names: str, family_names: str) -> str:
    """Return one text that is equal for names with the same words in any order; LONGEST at most."""
    return " ".join(sorted(name_tokens(given_names) + name_tokens(family_names)))[:LONGEST]


# Words before or behind a name that are no part of it. Only words that are nobody's name are listed
# ("Don" and "Do" are names). Common practice in record linkage.
TITLES = {*"mr mister mrs ms miss mx dr doctor prof professor rev sir".split()}  # noqa: SIM905
TITLES |= {*"sr senor sra senora srta senorita dra doctora profesor".split()}  # noqa: SIM905
TITLES |= {*"mme madame mlle herr herrn frau".split()}  # noqa: SIM905
DEGREES = frozenset({"md", "phd", "rn", "rd", "dds", "esq"})
GENERATIONS = dict.fromkeys(("sr", "snr", "senior", "1st"), "1")
GENERATIONS |= dict.fromkeys(("jr", "jnr", "junior", "ii", "2nd"), "2")
GENERATIONS |= {"iii": "3", "3rd": "3", "iv": "4", "4th": "4"}
# Words inside a family name that many families share: they say nothing alone.
PARTICLES = frozenset(
    "de del la las los da das do dos di du le van von der den ter el al bin ibn ben "  # noqa: SIM905
    "y e san santa st mac".split()
)


LONGEST = 420  # of a part of a name, and of its key: 200 letters, some of which become several


class NormalName(NamedTuple):
    """A name as it is compared: no case, accents, titles or degrees.

    `given` and `family`: words parted by blanks or, where a hyphen stood, by hyphens. `generation`
    is "1" for Sr, "2" for Jr and II, and so on; empty if the name says nothing of it.
    """

    given: str
    family: str
    generation: str = ""


def normal_name(given_names: str, family_names: str) -> NormalName:
    """Return the form in which a name is compared. A field of titles only keeps the last."""
    given, of_given = _without_suffixes(_without_titles(name_units(given_names)))
    family, of_family = _without_suffixes(_without_titles(name_units(family_names)))
    return NormalName(_cut(given), _cut(family), of_family or of_given)


def _cut(units: tuple[str, ...]) -> str:
    return " ".join(units)[:LONGEST].rstrip(" -")


@lru_cache(maxsize=1 << 16)
def words(part: str) -> tuple[str, ...]:
    """Return the words of one part of a normal name."""
    return tuple(part.replace("-", " ").split())


@lru_cache(maxsize=1 << 16)
def joined(part: str) -> str:
    """Return a part written together: "de la cruz" and "delacruz" are one name."""
    return part.replace("-", "").replace(" ", "")


@lru_cache(maxsize=1 << 16)
def bearing(part: str) -> tuple[str, ...]:
    """Return the words that tell families apart: all but the particles, if any are left."""
    return tuple(word for word in words(part) if word not in PARTICLES) or words(part)


def letters(part: str) -> int:
    """Count the letters that a reader sees, particles left out: marks and parts of a syllable are
    none. Five in "van der falke", two in "남궁".
    """
    text = "".join(bearing(part))
    if text.isascii():
        return len(text)
    seen = unicodedata.normalize("NFC", text)
    return sum(unicodedata.category(char)[0] != "M" for char in seen)


def first_name(given: str) -> str:
    """Return the first given name: "annemarie" for "anne-marie lucia", "anne" for "anne marie"."""
    return joined(given.partition(" ")[0])


def _without_titles(units: tuple[str, ...]) -> tuple[str, ...]:
    while len(units) > 1 and units[0] in TITLES:
        units = units[1:]
    return units


def _without_suffixes(units: tuple[str, ...]) -> tuple[tuple[str, ...], str]:
    generation = ""
    while units:
        *before, last = units
        stem, _, suffix = last.rpartition("-")  # "Ruiz - Jr" is one unit
        dotted = _letters_of_a_degree(units)
        if dotted:
            units = units[:-dotted]
        elif (before or stem) and (suffix in GENERATIONS or suffix in DEGREES):
            generation = GENERATIONS.get(suffix, generation)
            units = (*before, stem) if stem else tuple(before)
        else:
            break
    return units, generation


def _letters_of_a_degree(units: tuple[str, ...]) -> int:
    """Of how many words, behind a name, a degree is made: two in "Ruiz, M.D.", none in "Ruiz"."""
    return next((n for n in (2, 3) if len(units) > n and "".join(units[-n:]) in DEGREES), 0)
