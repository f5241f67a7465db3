"""Which grade, or which ease, do the counts of a text give?

The formulas are exact; what goes into them is not. Two syllable counters differ by a tenth, and
published scores of one and the same sentence by thirteen points. So a score is an average over a
text, a reason to look again, and never a reason to refuse one.
"""

from dataclasses import dataclass
from math import sqrt

SMOG_SENTENCES = 30
"""SMOG was normed on samples of thirty sentences; with fewer it is not defined."""


@dataclass(frozen=True)
class TextCounts:
    """Words, sentences and syllables of a text; `long_words` have three syllables or more."""

    words: int
    sentences: int
    syllables: int
    long_words: int = 0


def flesch_ease(counts: TextCounts) -> float:
    """Return Flesch's reading ease of English, about 0 (hard) to 100 (easy).

    Source: R. Flesch, J Appl Psychol 1948;32:221-233; the formula as US agencies print it.
    """
    return (
        206.835 - 1.015 * counts.words / counts.sentences - 84.6 * counts.syllables / counts.words
    )


def flesch_kincaid(counts: TextCounts) -> float:
    """Return the Flesch-Kincaid grade of English: the US school grade that reads it.

    Source: J. P. Kincaid and others, US Navy Research Branch Report 8-75, 1975.
    """
    return 0.39 * counts.words / counts.sentences + 11.8 * counts.syllables / counts.words - 15.59


def smog(counts: TextCounts) -> float | None:
    """Return the SMOG grade of English; None below thirty sentences.

    Source: G. H. McLaughlin, J Reading 1969;12:639-646, the exact formula, not "3 plus the root".
    """
    if counts.sentences < SMOG_SENTENCES:
        return None
    return 1.0430 * sqrt(counts.long_words * SMOG_SENTENCES / counts.sentences) + 3.1291


def fernandez_huerta(counts: TextCounts) -> float:
    """Return Fernández Huerta's ease of Spanish, about 0 (hard) to 100 (easy).

    Source: J. Fernández Huerta, Consigna 1959;214:29-32, with the words of a sentence in the second
    term, as it is computed since (textstat does the same).
    """
    return 206.84 - 60 * counts.syllables / counts.words - 1.02 * counts.words / counts.sentences


def szigriszt_pazos(counts: TextCounts) -> float:
    """Return Szigriszt Pazos's perspicuity of Spanish, which the INFLESZ scale bands.

    Source: F. Szigriszt Pazos, thesis, Madrid 1993; textstat has the same formula.
    """
    return 206.835 - 62.3 * counts.syllables / counts.words - counts.words / counts.sentences


INFLESZ = ((80, "very easy"), (65, "fairly easy"), (55, "normal"), (40, "somewhat hard"))
INFLESZ_GOAL = 65
"""From here on a Spanish text is "fairly easy". Source of the bands: I. M. Barrio-Cantalejo and
others, An Sist Sanit Navar 2008;31:135-152 (from memory)."""


def inflesz(perspicuity: float) -> str:
    """Return the band of the INFLESZ scale."""
    return next((name for least, name in INFLESZ if perspicuity >= least), "very hard")
