"""The libraries that the identity engine compares names with, against published values."""

import jellyfish
import pytest
from rapidfuzz.distance import Jaro, JaroWinkler

from patients.rules import name_likeness
from patients.rules.evidence import bits
from patients.rules.name_likeness import phonetic

# Source: W. E. Winkler, US Bureau of the Census, Statistical Research Report RR94/5, table 2.1, and
# "Overview of record linkage and current research directions", 2006 (prefix scale 0.1, prefix at
# most four letters); as printed, to three places. Only the pairs on which the editions agree:
# MASSEY/MASSIE, DWAYNE/DUANE, HARDIN/MARTINEZ, ITMAN/SMITH, JON/JAN and 1ST/IST are left out.
JARO_AND_WINKLER = [
    ("SHACKLEFORD", "SHACKELFORD", 0.970, 0.982),
    ("DUNNINGHAM", "CUNNIGHAM", 0.896, 0.896),
    ("NICHLESON", "NICHULSON", 0.926, 0.956),
    ("JONES", "JOHNSON", 0.790, 0.832),
    ("ABROMS", "ABRAMS", 0.889, 0.922),
    ("JERALDINE", "GERALDINE", 0.926, 0.926),
    ("MARHTA", "MARTHA", 0.944, 0.961),
    ("MICHELLE", "MICHAEL", 0.869, 0.921),
    ("HIGBEE", "HIGHEE", 0.889, 0.922),
    ("IOWA", "IONA", 0.833, 0.867),
    ("JULIES", "JULIUS", 0.889, 0.933),
    ("TANYA", "TONYA", 0.867, 0.880),
    ("SEAN", "SUSAN", 0.783, 0.805),
    ("JON", "JOHN", 0.917, 0.933),
    ("BROOKHAVEN", "BRROKHAVEN", 0.933, 0.947),
    ("BROOK HALLOW", "BROOK HLLW", 0.944, 0.967),
    ("DECATUR", "DECATIR", 0.905, 0.943),
    ("FITZRUREITER", "FITZENREITER", 0.856, 0.913),
    ("LACURA", "LOCURA", 0.889, 0.900),
]

# Source: US National Archives, "Guide to the Soundex System" (read in a stored copy).
SOUNDEX_GUIDE = {
    "Lee": "L000",
    "Kuhne": "K500",
    "Ebell": "E140",
    "Ebelson": "E142",
    "Kelly": "K400",
    "Buerck": "B620",
    "Lloyd": "L300",
    "Schaefer": "S160",
}
# Source: US National Archives, "The Soundex Indexing System", the examples of its additional rules;
# from memory which page prints which, the codes are those that standards tables repeat.
SOUNDEX_RULES = {
    "Washington": "W252",
    "Gutierrez": "G362",
    "Jackson": "J250",
    "Pfister": "P236",
    "Tymczak": "T522",
    "Ashcraft": "A261",  # h does not part two letters of one code; databases often say A226
}
# Common practice: examples that textbooks and libraries print for the same rules.
SOUNDEX_ELSEWHERE = {
    "Ashcroft": "A261",
    "Robert": "R163",
    "Rupert": "R163",
    "Rubin": "R150",
    "Honeyman": "H555",
}
SOUNDEX = SOUNDEX_GUIDE | SOUNDEX_RULES | SOUNDEX_ELSEWHERE


def test_there_are_the_nineteen_pairs_on_which_the_editions_agree() -> None:
    assert len({frozenset(pair[:2]) for pair in JARO_AND_WINKLER}) == 19


def test_the_engine_compares_with_the_library_that_is_checked_here() -> None:
    assert vars(name_likeness)["JaroWinkler"] is JaroWinkler


@pytest.mark.parametrize("one, other, jaro, winkler", JARO_AND_WINKLER)
def test_jaro_and_winkler(one: str, other: str, jaro: float, winkler: float) -> None:
    for left, right in ((one, other), (other, one)):
        assert Jaro.similarity(left, right) == pytest.approx(jaro, abs=0.001)
        assert JaroWinkler.similarity(left, right) == pytest.approx(winkler, abs=0.001)


@pytest.mark.parametrize("name, code", SOUNDEX.items())
def test_soundex_in_python(name: str, code: str) -> None:
    """jellyfish computes the engine's phonetic keys; it is right where databases are not."""
    assert jellyfish.soundex(name) == code


@pytest.mark.parametrize("one, other", [("Ashcraft", "Ashcroft"), ("Lee", "Leigh")])
def test_the_engines_phonetic_key_is_equal_for_names_that_sound_alike(one: str, other: str) -> None:
    assert phonetic(one.lower()) == phonetic(other.lower())


def test_fellegi_and_sunters_weight() -> None:
    """A street name with m = 0.9 and u = 0.01.

    Source: I. P. Fellegi, A. B. Sunter, J. Am. Stat. Assoc. 64 (1969) 1183-1210, for log2(m / u);
    the agreement's 6.49 is printed in a published FAQ on geocoding, the disagreement's -3.31 is
    derived from the same m and u: log2((1 - 0.9) / (1 - 0.01)).
    """
    assert bits(0.9, 0.01) == pytest.approx(6.49, abs=0.005)
    assert bits(1 - 0.9, 1 - 0.01) == pytest.approx(-3.3074, abs=0.0005)
