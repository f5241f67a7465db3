"""Which weight or height was typed, in whichever unit, and is it likely?

A number without a unit, or one that is unlikely, is asked about and never guessed. What is kept is
kilograms and centimetres, converted once: 1 lb is 0.453592 kg and 1 in is 2.54 cm (16 CFR
500.19(a)); a stone is 14 lb. Dividing pounds by 2.2 is a rounding trap (standards NUT-51).
"""

import re
import unicodedata
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

KG_PER_LB = Decimal("0.453592")
LB_PER_STONE = 14
CM_PER_IN = Decimal("2.54")
IN_PER_FT = 12
MAX_LENGTH = 40  # characters; checked before anything else is

# Outside these an adult's measure is asked about: common practice of data entry, no medical limit.
LIKELY_KG = (Decimal(35), Decimal(320))
LIKELY_CM = (Decimal(130), Decimal(215))
LIKELY_BMI = (Decimal(25), Decimal(80))


class MeasureProblem(StrEnum):
    EMPTY = "empty"
    TOO_LONG = "too_long"
    NOT_A_MEASURE = "not_a_measure"
    NO_UNIT = "no_unit"
    TOO_MANY_INCHES = "too_many_inches"  # 5 ft 13 in
    TOO_MANY_POUNDS = "too_many_pounds"  # 11 st 15 lb
    COULD_BE_TWO = "could_be_two"  # 1,750


class Doubt(StrEnum):
    """Why a measure that can be read is asked about."""

    WEIGHT_UNLIKELY = "weight_unlikely"
    HEIGHT_UNLIKELY = "height_unlikely"
    TOGETHER_UNLIKELY = "together_unlikely"


_NUMBER = r"\d{1,4}(?:[.,]\d{1,3})?"
_KG = re.compile(rf"({_NUMBER})\s*(?:kgs?|kilos?|kilograms?|kilogramos?)\.?")
_LB = re.compile(rf"({_NUMBER})\s*(?:lbs?|pounds?|libras?|#)\.?")
_STONE = re.compile(
    rf"({_NUMBER})\s*(?:st|stones?)\.?(?:\s*(?:,|and)?\s*({_NUMBER})\s*(?:lbs?|pounds?)?\.?)?"
)
_CM = re.compile(rf"({_NUMBER})\s*(?:cms?|centimet(?:er|re)s?|centímetros?)\.?")
_M = re.compile(rf"({_NUMBER})\s*(?:m|met(?:er|re)s?|metros?)\.?")
_IN = re.compile(rf'({_NUMBER})\s*(?:in|ins|inch|inches|pulgadas?|")\.?')
_FT_IN = re.compile(
    rf"(\d)\s*(?:ft|foot|feet|pies?|')\.?\s*(?:,|and|-|y)?\s*"
    rf"(?:({_NUMBER})\s*(?:in|ins|inch|inches|pulgadas?|\"|'')?\.?)?"
)
_FT_DASH_IN = re.compile(r"([3-7])\s*-\s*(\d{1,2})")


def read_weight(typed: str) -> Decimal | MeasureProblem:
    """Return kilograms, or what is wrong: 120 kg, 264.5 lb, 18 st 12 lb, 18 stone."""
    text = _plain(typed)
    if isinstance(text, MeasureProblem):
        return text
    if found := _KG.fullmatch(text):
        return _value(found[1])
    if found := _LB.fullmatch(text):
        pounds = _value(found[1])
        return pounds if isinstance(pounds, MeasureProblem) else pounds * KG_PER_LB
    if found := _STONE.fullmatch(text):
        stones, pounds = _value(found[1]), _value(found[2] or "0")
        if isinstance(stones, MeasureProblem):
            return stones
        if isinstance(pounds, MeasureProblem):
            return pounds
        if pounds >= LB_PER_STONE:
            return MeasureProblem.TOO_MANY_POUNDS
        return (stones * LB_PER_STONE + pounds) * KG_PER_LB
    return _not_read(text)


def read_height(typed: str) -> Decimal | MeasureProblem:
    """Return centimetres, or what is wrong: 5'11, 5 ft 11 in, 5-11, 71 in, 180 cm, 1.80 m."""
    text = _plain(typed)
    if isinstance(text, MeasureProblem):
        return text
    if found := _CM.fullmatch(text):
        return _value(found[1])
    if found := _M.fullmatch(text):
        metres = Decimal(found[1].replace(",", "."))
        return metres * 100
    if found := _FT_IN.fullmatch(text) or _FT_DASH_IN.fullmatch(text):
        inches = _value(found[2] or "0")
        if isinstance(inches, MeasureProblem):
            return inches
        if inches >= IN_PER_FT:
            return MeasureProblem.TOO_MANY_INCHES
        return (int(found[1]) * IN_PER_FT + inches) * CM_PER_IN
    if found := _IN.fullmatch(text):
        inches = _value(found[1])
        return inches if isinstance(inches, MeasureProblem) else inches * CM_PER_IN
    return _not_read(text)


def doubts(*, kg: Decimal | None, cm: Decimal | None) -> tuple[Doubt, ...]:
    """Return why a person should be asked whether these are right."""
    found = []
    if kg is not None and not LIKELY_KG[0] <= kg <= LIKELY_KG[1]:
        found.append(Doubt.WEIGHT_UNLIKELY)
    if cm is not None and not LIKELY_CM[0] <= cm <= LIKELY_CM[1]:
        found.append(Doubt.HEIGHT_UNLIKELY)
    if not found and kg is not None and cm is not None:
        metres = cm / 100
        if not LIKELY_BMI[0] <= kg / metres**2 <= LIKELY_BMI[1]:
            found.append(Doubt.TOGETHER_UNLIKELY)
    return tuple(found)


@dataclass(frozen=True)
class FeetInches:
    feet: int
    inches: Decimal  # to half an inch


def pounds(kg: Decimal) -> Decimal:
    """Return kilograms in pounds."""
    return kg / KG_PER_LB


def feet_inches(cm: Decimal) -> FeetInches:
    """Return centimetres in feet and inches, to the nearest half inch."""
    halves = round(cm / CM_PER_IN * 2)
    feet, left = divmod(halves, 2 * IN_PER_FT)
    return FeetInches(feet, Decimal(left) / 2)


def _plain(typed: str) -> str | MeasureProblem:
    if len(typed) > MAX_LENGTH:
        return MeasureProblem.TOO_LONG
    text = unicodedata.normalize("NFKC", typed).strip().casefold()
    if not text:
        return MeasureProblem.EMPTY
    # Every kind of quotation mark and prime that phones and word processors make of ' and ".
    for marks, plain in (("‘’ʼ′´`", "'"), ("“”″", '"'), ("–—−", "-")):
        for mark in marks:
            text = text.replace(mark, plain)
    return text.replace("''", '"')


def _value(text: str) -> Decimal | MeasureProblem:
    whole, mark, rest = text.replace(",", ".").partition(".")
    if mark and len(rest) == 3 and not whole.startswith("0"):
        return MeasureProblem.COULD_BE_TWO
    return Decimal(f"{whole}.{rest}") if mark else Decimal(whole)


def _not_read(text: str) -> MeasureProblem:
    if re.fullmatch(_NUMBER, text):
        return MeasureProblem.NO_UNIT
    return MeasureProblem.NOT_A_MEASURE
