"""What in a text for everybody may point to one patient. No database; the people are invented."""

from datetime import date

import pytest

from education.rules.one_persons import Person, Sign, signs

ODALYS = Person(("Odalys", "Trent-Ñuñoa"), "KX-1077", "(312) 555-0142", date(1971, 8, 23))
ASKED = "My sister brings a cake on Sunday. Is one bite really so bad for me?"


@pytest.mark.parametrize(
    "text, found",
    [
        ("What can I do at a party?", []),
        ("Is one bite really so bad for me?", [Sign.COPIED]),
        ("is ONE bite, really, so bad!", [Sign.COPIED]),  # six words in a row
        ("Is one bite really bad?", []),
        ("Ask Odalys.", [Sign.NAME]),
        ("Ask Mrs. NUNOA.", [Sign.NAME]),  # accents and case apart
        ("KX 1077 asked.", [Sign.NUMBER]),
        ("Call 312-555-0142.", [Sign.NUMBER]),
        ("Start on 3/16/2027.", [Sign.DAY]),
        ("Write to odalys@example.org.", [Sign.ADDRESS, Sign.NAME]),
        ("Drink 64 ounces in 24 hours.", []),
    ],
)
def test_signs_of_one_person(text: str, found: list[Sign]) -> None:
    told = signs([text], asked=ASKED, person=ODALYS)
    assert sorted(one.sign for one in told) == sorted(found), told


def test_a_short_question_is_copied_as_a_whole() -> None:
    assert [one.sign for one in signs(["May I walk?"], asked="may i walk", person=None)] == [
        Sign.COPIED
    ]
    assert signs(["May I walk?"], asked="", person=None) == ()
