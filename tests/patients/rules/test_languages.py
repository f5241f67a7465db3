"""Languages from a file: what is read, and what is refused. No database.

The codes are of BCP 47; "rtl" and "ltr" are HTML's values of `dir`.
"""

import pytest

from patients.rules.languages import (
    BUILT_IN,
    Direction,
    LanguagesError,
    codes,
    direction_of,
    meant_by,
    name_of,
    offer,
    read_languages,
)

FRENCH = '[fr]\nname = "French"\nown_name = "Français"\ncalled = ["fre", "FRA"]\n'
ARABIC = '[ar]\nname = "Arabic"\nown_name = "العربية"\ndirection = "rtl"\n'


def test_a_file_adds_languages_to_the_two_that_are_there() -> None:
    before = offer(read_languages(FRENCH + ARABIC))
    try:
        assert codes() == ("en", "es", "fr", "ar")
        assert (name_of("fr"), direction_of("fr")) == ("French", Direction.LEFT_TO_RIGHT)
        assert direction_of("ar") == Direction.RIGHT_TO_LEFT
        said = {"FR": "fr", " Français ": "fr", "fra": "fr", "Español": "es", "Klingon": ""}
        assert {word: meant_by(word) for word in said} == said
    finally:
        offer(before)
    assert codes() == ("en", "es")
    assert name_of("fr") == "fr"  # on record, and not offered any more


@pytest.mark.parametrize(
    "text, said",
    [
        ("[fr", "not valid TOML"),
        ('[french]\nname = "F"\nown_name = "F"', "no code of a language"),
        ('[es]\nname = "S"\nown_name = "S"', "there already"),
        ('[fr]\nname = "French"', '"own_name"'),
        ('[fr]\nname = "French"\nown_name = ""', '"own_name"'),
        (FRENCH + 'direction = "up"', '"ltr" or "rtl"'),
        (FRENCH + "colour = 1", "unknown field"),
        ('fr = "French"', "table"),
        (FRENCH.replace("FRA", "Spanish"), 'names both "es" and "fr"'),
    ],
)
def test_what_is_no_language_is_refused_and_says_why(text: str, said: str) -> None:
    with pytest.raises(LanguagesError, match=said):
        read_languages(text)


def test_an_empty_file_leaves_the_two() -> None:
    assert read_languages("") == BUILT_IN
