"""How many syllables has a word, and is it a hard one?

English is counted by textstat, from a pronouncing dictionary that comes with it (72 MB in memory,
read at the first word). Spanish spelling says its syllables, so a rule counts them: textstat counts
where a word may be hyphenated, and finds 12 of the 17 syllables of "cirugía estómago biología ahí
leía", and 94 % of those of the starter texts.
"""

import re
from functools import lru_cache

from textstat.textstat import textstatistics

HARD_FROM = {"en": 3, "es": 4}
"""From how many syllables on a word is hard, unless it is a familiar one. Spanish words are longer;
for it the number is ours."""

_PART = re.compile(r"[-/’']")
_LETTERS = re.compile(r"[^\W\d_]+")
_VOWELS = re.compile(r"[aeiouáéíóúü]+")
# Each of these is the heart of a syllable; a weak vowel beside one is not, unless it is accented.
_STRONG = re.compile(r"[aeoáéóíú]")
_SILENT_H = re.compile(r"(?<=[aeiouáéíóúü])h(?=[aeiouáéíóúü])")
_Y_AS_VOWEL = re.compile(r"y(?![aeiouáéíóúü])")


def _counter(language: str) -> textstatistics:
    counter = textstatistics()
    counter.set_lang(language)
    return counter


def known(language: str) -> bool:
    """Whether syllables are counted, and hard words known, in this language."""
    return language in HARD_FROM


_ENGLISH, _SPANISH = _counter("en_US"), _counter("es")


@lru_cache(maxsize=20_000)
def syllables(word: str, language: str) -> int:
    """Return the syllables of one word, at least 1; parts joined by a hyphen are added up."""
    if language == "es":
        return max(1, _spanish(word.lower()))
    parts = [part for part in _PART.split(word) if part] if "-" in word or "/" in word else [word]
    return max(1, sum(max(1, int(_ENGLISH.syllable_count(part))) for part in parts))


@lru_cache(maxsize=20_000)
def is_hard(word: str, language: str) -> bool:
    """Whether a word has many syllables and is not on textstat's list of familiar words.

    The list is Dale and Chall's for English, and the 20,000 most frequent words for Spanish. A
    plural is as familiar as its singular; numbers are not hard. Of another language nobody here
    knows.
    """
    if not _LETTERS.fullmatch(word.replace("-", "").replace("’", "").replace("'", "")):
        return False
    if not known(language) or syllables(word, language) < HARD_FROM[language]:
        return False
    counter = _SPANISH if language == "es" else _ENGLISH
    return all(
        counter.is_difficult_word(form, 0)
        for form in (word, word.removesuffix("s"), word.removesuffix("es"))
    )


def _spanish(word: str) -> int:
    """Count by the rules of Spanish orthography (RAE, Ortografía 2010, diphthong and hiatus).

    Two strong vowels are two syllables, and so is an accented weak vowel beside a strong one; other
    vowels that touch are one. An h between vowels does not part them, y is a vowel at the end.
    """
    plain = _SILENT_H.sub("", _Y_AS_VOWEL.sub("i", word))
    return sum(max(1, len(_STRONG.findall(run))) for run in _VOWELS.findall(plain))
