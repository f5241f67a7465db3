"""A number is read as people write it; what could mean two numbers is asked about."""

from decimal import Decimal

import pytest

from education.rules.typed_number import NumberProblem, read_number

UNITS = ("US fl oz", "onzas líquidas (US fl oz)")

ROWS = [
    # typed, number or problem, why
    ("64", "64", "digits"),
    (" 64 ", "64", "blanks around"),
    ("64.0", "64.0", "an English decimal mark"),
    ("64,0", "64.0", "a Spanish decimal mark"),
    ("64.", "64", "a sentence's full stop"),
    ("7.5", "7.5", "a half"),
    ("0,125", "0.125", "a leading nought leaves no doubt"),
    ("1 200", "1200", "groups parted by a blank"),
    ("1,200.5", "1200.5", "both marks: the last is the decimal mark"),
    ("1.200,5", "1200.5", "the same in Spanish"),
    ("1,200", NumberProblem.COULD_BE_TWO, "1200 here, 1.2 there"),
    ("1.200", NumberProblem.COULD_BE_TWO, "1.2 here, 1200 there"),
    ("64 oz", "64", "a word of the unit"),
    ("64oz.", "64", "close up, cut short"),
    ("64 fl. oz", "64", "with full stops"),
    ("64 US fl oz", "64", "the unit"),
    ("64 ONZAS LIQUIDAS", "64", "the other language, capitals, no accent"),
    ("1 onza", "1", "the singular"),
    ("64 miles", NumberProblem.OTHER_UNIT, "a unit of something else"),
    ("64 grams", NumberProblem.OTHER_UNIT, "weight is no volume"),
    ("2 gallons", NumberProblem.OTHER_UNIT, "a unit that is not known"),
    ("64 oz a day", NumberProblem.OTHER_UNIT, "more than the unit"),
    ("６４", "64", "fullwidth digits"),
    ("٦٤", "64", "Arabic-Indic digits"),
    ("-3", "-3", "a minus"),
    ("6 4", NumberProblem.NOT_A_NUMBER, "a slip of the thumb"),
    ("sixty-four", NumberProblem.NOT_A_NUMBER, "words"),
    ("about 64", NumberProblem.NOT_A_NUMBER, "a word before"),
    ("1e5", NumberProblem.OTHER_UNIT, "no notation of machines"),
    ("NaN", NumberProblem.NOT_A_NUMBER, "no number of machines"),
    ("Infinity", NumberProblem.NOT_A_NUMBER, "no number of machines"),
    ("", NumberProblem.EMPTY, "nothing"),
    ("  ", NumberProblem.EMPTY, "blanks only"),
    ("6" * 41, NumberProblem.TOO_LONG, "over the limit"),
    ("6" * 100_000, NumberProblem.TOO_LONG, "far over the limit"),
]


@pytest.mark.parametrize("typed, expected, why", ROWS)
def test_a_typed_number(typed: str, expected: str | NumberProblem, why: str) -> None:
    wanted = expected if isinstance(expected, NumberProblem) else Decimal(expected)
    assert read_number(typed, units=UNITS) == wanted


# question's unit, typed, the number in it, why. The figures: NIST Handbook 44, appendix C (1 US
# fluid ounce 29.57353 mL, 1 cup 8 fluid ounces, 1 ounce avoirdupois 28.349523 g), from memory; to
# four figures 16 CFR 500.19(a) (standards NUT-50).
OTHER_UNITS = [
    (UNITS, "8 cups", "64", "a cup is 8 fluid ounces"),
    (UNITS, "8 tazas", "64", "in Spanish"),
    (UNITS, "1,89 L", "63.909", "the published 64 fl oz = 1.89 L"),
    (UNITS, "1892.7 ml", "64.000", "64 x 29.5735 = 1892.7 mL (standards NUT-20)"),
    (UNITS, "1,000 ml", NumberProblem.COULD_BE_TWO, "one or a thousand, in whichever unit"),
    (("grams of protein", "gramos de proteína"), "60 grams", "60", "the unit's own word"),
    (("grams of protein", "gramos de proteína"), "60 g", "60", "cut short"),
    (("grams of protein", "gramos de proteína"), "1,5 oz", "42.524", "an ounce of weight"),
    (("grams of protein", "gramos de proteína"), "60 ml", NumberProblem.OTHER_UNIT, "a volume"),
    (("minutes", "minutos"), "2 horas", "120", "time"),
    (("minutes", "minutos"), "0.5 h", "30", "half an hour"),
    (("bottles", "botellas"), "64 oz", NumberProblem.OTHER_UNIT, "bottles have no size"),
    (("ounces", "onzas"), "64 g", NumberProblem.OTHER_UNIT, "nobody said ounces of what"),
]


@pytest.mark.parametrize("units, typed, expected, why", OTHER_UNITS)
def test_a_known_unit_is_converted(
    units: tuple[str, str], typed: str, expected: str | NumberProblem, why: str
) -> None:
    wanted = expected if isinstance(expected, NumberProblem) else Decimal(expected)
    assert read_number(typed, units=units) == wanted
