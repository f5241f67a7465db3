"""What becomes of a name and a date of birth between the record and the keyboard.

Each way takes a random generator and what is typed, and returns what is typed instead, or None
where it changes nothing (nobody can drop the accents of "Mason"). FORM leaves a name that any
reader takes for the same; SLIPS changes letters or words; DATES gives another valid date.
"""

import random
import re
import unicodedata
from collections.abc import Callable
from datetime import date, timedelta
from typing import NamedTuple

from tests.benchmarks.composed_names import (
    ACCENTED_FORMS,
    SHORT_FORMS,
    TRADITIONS,
    Deck,
    draw_name,
    without_accents,
)


class Typed(NamedTuple):
    """A name and date of birth as somebody types them."""

    given: str
    family: str
    born: date
    female: bool
    tradition: int  # index into TRADITIONS


# A form asks again for a date of birth outside of these years.
EARLIEST_YEAR, LATEST_YEAR = 1905, 2025

Way = Callable[[random.Random, Typed], Typed | None]

APOSTROPHES = ("’", "‘", "ʼ", "`", "´", "′", "", " ", "' ")
HYPHENS = ("‐", "‑", "–", "—", "−", " - ", " ", "", "- ")
INVISIBLE = ("\u00a0", "\u2009", "\u200b", "\u00ad", "\ufeff", "  ", "\t")
TITLES = ("Mr", "Mr.", "Dr.", "Dr")
TITLES_OF_WOMEN = ("Mrs", "Mrs.", "Ms", "Ms.", "Miss", "Dr.")
SUFFIXES = (" Jr", " Jr.", ", Jr.", " Sr.", " II", " III", ", MD", " IV")
PREFIXES = re.compile(r"^(Mc|Mac|De|Del|Van|Von|La|Le|San|St|O|Al|El|D)(?=[A-Z'’])", re.ASCII)

# Neighbours on a keyboard, and letters that sound alike: common practice for slips.
_ROWS = ("qwertyuiop", "asdfghjkl", "zxcvbnm")
NEIGHBOURS = {
    letter: [row[n] for n in (at - 1, at + 1) if 0 <= n < len(row)]
    for row in _ROWS
    for at, letter in enumerate(row)
}
SOUNDS = [("ph", "f"), ("ck", "k"), ("ie", "y"), ("ei", "ie"), ("c", "k"), ("z", "s"), ("y", "i")]
SOUNDS += [("ee", "ea"), ("sh", "sch"), ("tt", "t"), ("ll", "l"), ("nn", "n"), ("rr", "r")]


# Differences in form only


def accents(rng: random.Random, typed: Typed) -> Typed | None:
    """Typed without accents; or with them, where the record has none."""
    if not (typed.given + typed.family).isascii():
        return _changed(
            typed, given=without_accents(typed.given), family=without_accents(typed.family)
        )
    return _changed(typed, given=_with_accents(typed.given), family=_with_accents(typed.family))


def _with_accents(name: str) -> str:
    return re.sub(r"[A-Za-z]+", lambda word: ACCENTED_FORMS.get(word[0], word[0]), name)


def case(rng: random.Random, typed: Typed) -> Typed | None:
    """All capitals, no capitals, or the shift key held the wrong way round."""
    way = rng.choice((str.upper, str.lower, str.swapcase, str.title))
    return _changed(typed, given=way(typed.given), family=way(typed.family))


def marks(rng: random.Random, typed: Typed) -> Typed | None:
    """Another apostrophe or hyphen, a space for it, or none."""
    apostrophe, hyphen = rng.choice(APOSTROPHES), rng.choice(HYPHENS)
    given, family = (
        part.replace("'", apostrophe).replace("-", hyphen) for part in (typed.given, typed.family)
    )
    return _changed(typed, given=given, family=family)


def spaces(rng: random.Random, typed: Typed) -> Typed | None:
    """Blanks that nobody sees: around the name, doubled, unbreakable, of no width."""
    blank = rng.choice(INVISIBLE)
    inside = blank if blank.strip("\u200b\u00ad\ufeff ") == "" and blank != "\t" else f" {blank}"
    family = typed.family.replace(" ", " " + inside)
    return typed._replace(given=f"{blank}{typed.given} ", family=f"{family}{blank}")


def joined(rng: random.Random, typed: Typed) -> Typed | None:
    """A name of several words typed as one."""
    family = re.sub(r"[\s\-'.]+", "", typed.family)
    if family != typed.family:
        return typed._replace(family=family)
    if " " not in typed.given.strip() or len(typed.given.split()[-1]) < 2:
        return None
    return typed._replace(given=typed.given.replace(" ", ""))


def split(rng: random.Random, typed: Typed) -> Typed | None:
    """One word typed as several: Mc Calley, De Lacruz; a hyphen where there was a blank."""
    if " " in typed.family:
        return typed._replace(family=typed.family.replace(" ", "-"))
    return _changed(typed, family=PREFIXES.sub(r"\1 ", typed.family).replace(" '", "' "))


def title(rng: random.Random, typed: Typed) -> Typed | None:
    """Mrs. in front."""
    word = rng.choice(TITLES_OF_WOMEN if typed.female else TITLES)
    return typed._replace(given=f"{word} {typed.given}")


def suffix(rng: random.Random, typed: Typed) -> Typed | None:
    """Jr. behind; of men, as is common practice."""
    return None if typed.female else typed._replace(family=typed.family + rng.choice(SUFFIXES))


def swapped(rng: random.Random, typed: Typed) -> Typed | None:
    """Given and family name each in the other's field."""
    return typed._replace(given=typed.family, family=typed.given)


def middle_name(rng: random.Random, typed: Typed) -> Typed | None:
    """A second given name dropped; or added, whole or as a letter, where the record has none."""
    first, *others = typed.given.split()
    tradition = TRADITIONS[typed.tradition]
    if not tradition.middle_share:
        return None
    if others:
        return typed._replace(given=first)
    added = (tradition.women if typed.female else tradition.men).draw(rng)
    added = rng.choice((added, added, added[0], f"{added[0]}."))
    return typed._replace(given=f"{first} {added}")


def decomposed(rng: random.Random, typed: Typed) -> Typed | None:
    """The same letters as other code points: accents on their own, ligatures, full width."""
    given, family = (unicodedata.normalize("NFD", part) for part in (typed.given, typed.family))
    if rng.random() < 0.2:
        given, family = _wide(given), _wide(family)
    return _changed(typed, given=given, family=family)


def _wide(name: str) -> str:
    return "".join(chr(ord(char) + 0xFEE0) if "!" <= char <= "~" else char for char in name)


# In the order in which they can be put on one another: a title is no first name to be kept.
FORM: dict[str, Way] = {
    way.__name__: way
    for way in (
        *(middle_name, accents, marks, joined, split, suffix, title, case, spaces, decomposed),
        swapped,
    )
}


# Slips in names


def _word_wrong(rng: random.Random, name: str) -> str:
    """One letter of the name's longest word wrong: changed, lost, doubled, moved, or heard so."""
    word = max(re.findall(r"[^\W\d_]+", name) or [""], key=len)
    if len(word) < 3:
        return name
    for _ in range(20):
        wrong = _letter_wrong(rng, word)
        if without_accents(wrong).lower() != without_accents(word).lower():
            return name.replace(word, wrong, 1)
    return name


def _letter_wrong(rng: random.Random, word: str) -> str:
    at = rng.randrange(len(word))
    chance = rng.random()
    if chance < 0.3:
        near = NEIGHBOURS.get(word[at].lower(), ["e", "a"])
        letter = rng.choice(near)
        return word[:at] + (letter.upper() if word[at].isupper() else letter) + word[at + 1 :]
    if chance < 0.5:
        return (word[:at] + word[at + 1 :]).capitalize()
    if chance < 0.65:
        return word[: at + 1] + word[at].lower() + word[at + 1 :]
    if chance < 0.85:
        at = max(1, at)
        return word[: at - 1] + (word[at] + word[at - 1].lower()) + word[at + 1 :]
    heard, written = rng.choice(SOUNDS)[:: rng.choice((1, -1))]
    return word.replace(heard, written, 1)


def given_name_letter(rng: random.Random, typed: Typed) -> Typed | None:
    """One letter of the given name wrong."""
    return _changed(typed, given=_word_wrong(rng, typed.given))


def family_name_letter(rng: random.Random, typed: Typed) -> Typed | None:
    """One letter of the family name wrong."""
    return _changed(typed, family=_word_wrong(rng, typed.family))


def letter_in_both(rng: random.Random, typed: Typed) -> Typed | None:
    """One letter wrong in each name."""
    given, family = _word_wrong(rng, typed.given), _word_wrong(rng, typed.family)
    both = given != typed.given and family != typed.family
    return typed._replace(given=given, family=family) if both else None


def two_letters(rng: random.Random, typed: Typed) -> Typed | None:
    """Two letters of one name wrong."""
    if rng.random() < 0.5:
        return _changed(typed, given=_word_wrong(rng, _word_wrong(rng, typed.given)))
    return _changed(typed, family=_word_wrong(rng, _word_wrong(rng, typed.family)))


def short_form(rng: random.Random, typed: Typed) -> Typed | None:
    """The given name as friends say it."""
    shorter = SHORT_FORMS.get(typed.given.split()[0])
    return typed._replace(given=rng.choice(shorter)) if shorter else None


def married(rng: random.Random, typed: Typed) -> Typed | None:
    """Another family name altogether, of a woman."""
    return _changed(typed, family=draw_name(rng).family) if typed.female else None


def married_joined(rng: random.Random, typed: Typed) -> Typed | None:
    """Another family name joined to the one on record, before or behind it."""
    other = draw_name(rng).family
    pair = [typed.family, other] if rng.random() < 0.6 else [other, typed.family]
    return typed._replace(family=rng.choice("- ").join(pair)) if typed.female else None


def one_part(rng: random.Random, typed: Typed) -> Typed | None:
    """One part of a family name that has two."""
    parts = [part for part in re.split(r"[\s-]", typed.family) if len(part) > 3]
    return typed._replace(family=rng.choice(parts)) if len(parts) > 1 else None


def other_letters(rng: random.Random, typed: Typed) -> Typed | None:
    """The accents written out, as passports do: Müller as Mueller, Sørensen as Soerensen."""
    table = {"ö": "oe", "ü": "ue", "ä": "ae", "ø": "oe", "å": "aa", "ñ": "ny", "Ø": "Oe"}
    given, family = (
        without_accents("".join(table.get(char, char) for char in part))
        for part in (typed.given, typed.family)
    )
    plain = without_accents(typed.given) + without_accents(typed.family)
    return typed._replace(given=given, family=family) if given + family != plain else None


SLIPS: dict[str, Way] = {
    way.__name__: way
    for way in (
        *(given_name_letter, family_name_letter, letter_in_both, two_letters, short_form),
        *(married, married_joined, one_part, other_letters),
    )
}


# Dates of birth typed wrong


def day_month(rng: random.Random, typed: Typed) -> Typed | None:
    """Day and month exchanged."""
    return _dated(typed, typed.born.year, typed.born.day, typed.born.month)


def one_digit(rng: random.Random, typed: Typed) -> Typed | None:
    """One digit wrong."""
    digits = list(f"{typed.born:%Y%m%d}")
    at = rng.choice((2, 3, 3, 4, 5, 5, 6, 7, 7))
    digits[at] = rng.choice("0123456789")
    return _dated(typed, *_read("".join(digits)))


def two_digits(rng: random.Random, typed: Typed) -> Typed | None:
    """Two neighbouring digits exchanged."""
    digits = list(f"{typed.born:%Y%m%d}")
    at = rng.choice((2, 4, 6))
    digits[at], digits[at + 1] = digits[at + 1], digits[at]
    return _dated(typed, *_read("".join(digits)))


def wrong_year(rng: random.Random, typed: Typed) -> Typed | None:
    """Another year: one or two beside it, or another decade."""
    years = rng.choice((-10, -2, -1, -1, 1, 1, 2, 10))
    return _dated(typed, typed.born.year + years, typed.born.month, typed.born.day)


def _read(digits: str) -> tuple[int, int, int]:
    return int(digits[:4]), int(digits[4:6]), int(digits[6:])


DATES: dict[str, Way] = {
    way.__name__: way for way in (day_month, one_digit, two_digits, wrong_year)
}


def near_date(rng: random.Random, born: date) -> date:
    """Return a date that differs as slips make dates differ."""
    for _ in range(20):
        typed = Typed("", "", born, False, 0)
        other = rng.choice(list(DATES.values()))(rng, typed)
        if other is not None:
            return other.born
    return born + timedelta(days=1)


def other_given(rng: random.Random, typed: Typed, *, alike: bool, female: bool) -> str:
    """Return a relative's given name: one that begins alike, or any other."""
    tradition = TRADITIONS[typed.tradition]
    deck: Deck = tradition.women if female else tradition.men
    first, *others = typed.given.split()
    if alike and others and len(others[0]) > 1 and rng.random() < 0.3:
        second = deck.draw(rng)  # María Luisa and María Elena
        if without_accents(second) not in (without_accents(first), without_accents(others[0])):
            return f"{first} {second}"
    while True:
        # Else it would be the same name with an accent, or with a middle name.
        name = deck.alike(rng, first) if alike else deck.draw(rng)
        if without_accents(name.split()[0]) != without_accents(first):
            return name
        alike = alike and rng.random() < 0.8  # there may be no other that begins like it


def _changed(typed: Typed, *, given: str | None = None, family: str | None = None) -> Typed | None:
    """Return what is typed, or None if it is the same as before."""
    after = typed._replace(
        given=typed.given if given is None else given,
        family=typed.family if family is None else family,
    )
    return None if after == typed else after


def _dated(typed: Typed, year: int, month: int, day: int) -> Typed | None:
    """Return what is typed with another date; None if that is none, the same, or nobody's."""
    if not EARLIEST_YEAR <= year <= LATEST_YEAR:
        return None
    try:
        born = date(year, month, day)
    except ValueError:
        return None
    return None if born == typed.born else typed._replace(born=born)
