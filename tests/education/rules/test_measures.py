"""Weights and heights as people write them. Conversions: 16 CFR 500.19(a) (standards NUT-50)."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from education.rules.measures import (
    Doubt,
    FeetInches,
    MeasureProblem,
    doubts,
    feet_inches,
    pounds,
    read_height,
    read_weight,
)

WEIGHTS = [
    ("120 kg", "120", "kilograms"),
    ("120,5kg", "120.5", "a decimal comma"),
    ("264.5 lb", "119.975084", "1 lb is 0.453592 kg"),
    ("264.5 LBS.", "119.975084", "capitals and a full stop"),
    ("165 lb", "74.842680", "NUT-51: 74.84, not the 75 of a division by 2.2"),
    ("18 st 12 lb", "119.748288", "264 lb: a stone is 14 lb (common practice)"),
    ("18st12", "119.748288", "the pounds need no unit behind stones"),
    ("18.5 stone", "117.480328", "half a stone is 7 lb"),
    ("120", MeasureProblem.NO_UNIT, "kg or lb? it is asked"),
    ("", MeasureProblem.EMPTY, "nothing"),
    ("heavy", MeasureProblem.NOT_A_MEASURE, "no number"),
    ("18 st 15 lb", MeasureProblem.TOO_MANY_POUNDS, "there is no fifteenth pound in a stone"),
    ("1,750 lb", MeasureProblem.COULD_BE_TWO, "1.75 or 1750"),
    ("-120 kg", MeasureProblem.NOT_A_MEASURE, "less than nothing"),
    ("9" * 50 + " kg", MeasureProblem.TOO_LONG, "checked before any pattern (promise T6)"),
]
HEIGHTS = [
    ("5'11", "180.34", "71 in x 2.54"),
    ("5'11\"", "180.34", "with the inches' mark"),
    ("5 ft 11 in", "180.34", "with units"),
    ("5-11", "180.34", "with a dash"),
    ("5’11”", "180.34", "with a phone's quotation marks"),
    ("5′ 11″", "180.34", "with primes"),
    ("5'11''", "180.34", "two single marks for inches"),
    ("5 feet, 11 inches", "180.34", "in words"),
    ("5ft11", "180.34", "without blanks"),
    ("5 pies 11 pulgadas", "180.34", "in Spanish"),
    ("6 ft", "182.88", "no inches"),
    ("5'4.5\"", "163.83", "half an inch"),
    ("71 in", "180.34", "inches alone"),
    ('71"', "180.34", "inches by their mark"),
    ("180 cm", "180", "centimetres"),
    ("1.80 m", "180", "metres"),
    ("1,8 m", "180", "metres with a comma"),
    ("5.11", MeasureProblem.NO_UNIT, "five feet eleven, or 5.11 of what? it is asked"),
    ("180", MeasureProblem.NO_UNIT, "no unit"),
    ("5'13", MeasureProblem.TOO_MANY_INCHES, "there is no thirteenth inch in a foot"),
    ("tall", MeasureProblem.NOT_A_MEASURE, "no number"),
    (" ", MeasureProblem.EMPTY, "nothing"),
]


@pytest.mark.parametrize("typed, expected, why", WEIGHTS)
def test_read_weight(typed: str, expected: str | MeasureProblem, why: str) -> None:
    wanted = expected if isinstance(expected, MeasureProblem) else Decimal(expected)
    assert read_weight(typed) == wanted, why


@pytest.mark.parametrize("typed, expected, why", HEIGHTS)
def test_read_height(typed: str, expected: str | MeasureProblem, why: str) -> None:
    wanted = expected if isinstance(expected, MeasureProblem) else Decimal(expected)
    assert read_height(typed) == wanted, why


@pytest.mark.parametrize(
    "kg, cm, expected, why",
    [
        ("120", "165", (), "BMI 44"),
        ("264", "165", (Doubt.TOGETHER_UNLIKELY,), "264 lb typed as kg: BMI 97"),
        ("54.4", "165", (Doubt.TOGETHER_UNLIKELY,), "120 lb? BMI 20: not a patient's of these"),
        ("400", None, (Doubt.WEIGHT_UNLIKELY,), "pounds taken for kilograms"),
        ("120", "71", (Doubt.HEIGHT_UNLIKELY,), "inches taken for centimetres"),
        ("400", "71", (Doubt.WEIGHT_UNLIKELY, Doubt.HEIGHT_UNLIKELY), "both"),
        (None, None, (), "nothing to doubt"),
    ],
)
def test_doubts(kg: str | None, cm: str | None, expected: tuple[Doubt, ...], why: str) -> None:
    found = doubts(kg=Decimal(kg) if kg else None, cm=Decimal(cm) if cm else None)
    assert found == expected, why


def test_shown_both_ways() -> None:
    assert round(pounds(Decimal("120")), 1) == Decimal("264.6")
    assert feet_inches(Decimal("180.34")) == FeetInches(5, Decimal(11))
    assert feet_inches(Decimal("182.8")) == FeetInches(6, Decimal(0))  # never 5 ft 12 in


@settings(max_examples=100, deadline=None)
@given(st.integers(3, 7), st.integers(0, 11))
def test_four_ways_of_one_height_are_one_height(feet: int, inches: int) -> None:
    ways = (f"{feet}'{inches}", f"{feet} ft {inches} in", f"{feet}-{inches}", f"{feet}’{inches}”")
    assert {read_height(way) for way in ways} == {(feet * 12 + inches) * Decimal("2.54")}
