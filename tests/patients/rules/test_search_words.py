"""What a search text asks for, in whatever order a caller says it."""

from datetime import date

import pytest

from patients.rules.search_words import Asked, mrn_words, name_words, read_search

BORN = (date(1980, 5, 3),)
BOTH_WAYS = (date(1980, 2, 3), date(1980, 3, 2))

ROWS = [
    ("okafor", [Asked("okafor")], "a name"),
    ("okafor 3 may 1980", [Asked("okafor"), Asked(days=BORN)], "name, then date of birth"),
    ("1980-05-03 okafor", [Asked("19800503", BORN), Asked("okafor")], "date, then name"),
    ("Okafor, Ada, 3 May 1980", [Asked("okafor"), Asked("ada"), Asked(days=BORN)], "with commas"),
    ("May 3, 1980 okafor", [Asked(days=BORN), Asked("okafor")], "a comma inside the date"),
    ("3 de mayo de 1980", [Asked(days=BORN)], "a date in Spanish"),
    ("may okafor", [Asked("may"), Asked("okafor")], "a month alone is a name"),
    ("02/03/1980", [Asked("02031980", BOTH_WAYS)], "a date that can be read both ways is tried"),
    ("MRN 00123 okafor", [Asked("00123"), Asked("okafor")], "a label says nothing"),
    ("okafor mrn:00123", [Asked("okafor"), Asked("00123")], "nor does one without a blank"),
    ("Okafor born 3 May 1980 · MRN LF-7", [Asked("okafor"), Asked(days=BORN), Asked("lf"),
     Asked("7")], "a line copied from a page"),
    ("max born", [Asked("max"), Asked("born")], "Born is a name where no date follows"),
    ("mrn", [Asked("mrn")], "a label alone is what is asked for"),
    ("19800503", [Asked("19800503", BORN)], "digits may be a date or an MRN"),
    ("O’Neill-Ünal", [Asked("oneill"), Asked("unal")], "accents, apostrophes, hyphens"),
    ("30 feb 1980", [Asked("30"), Asked("feb"), Asked("1980")], "no day: taken for words"),
    ("", [], "nothing"),
    ("%_'; --", [], "no word in it"),
    ("\x00okafor", [Asked("okafor")], "NUL, which PostgreSQL refuses"),
]  # fmt: skip


@pytest.mark.parametrize("text, asked, why", ROWS, ids=[why for _, _, why in ROWS])
def test_what_is_asked_for(text: str, asked: list[Asked], why: str) -> None:
    assert read_search(text) == asked


def test_a_long_text_asks_for_a_few_things() -> None:
    assert len(read_search("a " * 5000)) <= 12
    assert len(read_search("x" * 100_000)[0].begins) == 100


def test_the_words_of_a_name() -> None:
    assert name_words("Anne-Marie", "de la Cruz") == {
        *("anne", "marie", "annemarie"),
        *("de", "la", "cruz", "delacruz"),
    }


def test_the_words_of_an_mrn() -> None:
    assert mrn_words("LF-00123") == {"lf", "00123", "lf00123", "lf-00123"}
