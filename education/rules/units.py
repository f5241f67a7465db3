"""Which unit is meant, and how much is it in another one?

Weight, volume and time, in English and Spanish. Inch-pound figures are exact by definition: a pound
is 0.45359237 kg and a US fluid ounce 29.5735295625 mL (NIST Handbook 44, appendix C; 16 CFR
500.19(a) rounds them to 0.453592 and 29.5735). A cup is 8 fluid ounces, a tablespoon a half and a
teaspoon a sixth of one (the same appendix). An ounce alone is one of weight or of volume by what
the question asks for. Imperial ounces and pints are not known here: what could be one of two sizes
is not converted.
"""

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Context, Decimal, localcontext
from enum import StrEnum

DIGITS = 60  # more than the longest number that can be typed has
PLACES = Decimal("0.001")  # what is converted is kept to a thousandth of the question's unit


class Measure(StrEnum):
    WEIGHT = "weight"  # in grams
    VOLUME = "volume"  # in millilitres
    TIME = "time"  # in minutes


@dataclass(frozen=True)
class Unit:
    """A unit that can be converted into every other one of its measure."""

    measure: Measure
    size: Decimal


FLUID_OUNCE = Decimal("29.5735295625")
OUNCE = Decimal("28.349523125")

# What a unit is called, in small letters, without accents, dots and the s of the plural.
_NAMES: tuple[tuple[Measure, Decimal, str], ...] = (
    (Measure.WEIGHT, Decimal(1), "g, gr, gram, gramo"),
    (Measure.WEIGHT, Decimal("0.001"), "mg, milligram, miligramo"),
    (Measure.WEIGHT, Decimal(1000), "kg, kilo, kilogram, kilogramo"),
    (Measure.WEIGHT, OUNCE, "oz, ounce, onza"),
    (Measure.WEIGHT, 16 * OUNCE, "lb, pound, libra"),
    (Measure.VOLUME, Decimal(1), "ml, milliliter, millilitre, mililitro, cc"),
    (Measure.VOLUME, Decimal(10), "cl, centiliter, centilitre, centilitro"),
    (Measure.VOLUME, Decimal(1000), "l, liter, litre, litro"),
    (
        Measure.VOLUME,
        FLUID_OUNCE,
        "oz, ounce, onza, fl oz, us fl oz, floz, fluid oz, fluid ounce, us fluid ounce, "
        "onza liquida, oz liquida, onza fluida",
    ),
    (Measure.VOLUME, 8 * FLUID_OUNCE, "cup, us cup, taza"),
    (Measure.VOLUME, FLUID_OUNCE / 2, "tbsp, tablespoon, cda, cucharada"),
    (Measure.VOLUME, FLUID_OUNCE / 6, "tsp, teaspoon, cdta, cdita, cucharadita"),
    (Measure.TIME, Decimal(1) / 60, "sec, second, seg, segundo"),
    (Measure.TIME, Decimal(1), "min, minute, minuto"),
    (Measure.TIME, Decimal(60), "h, hr, hour, hora"),
    (Measure.TIME, Decimal(24 * 60), "day, dia"),
    (Measure.TIME, Decimal(7 * 24 * 60), "week, wk, semana"),
)
_UNITS: dict[str, tuple[Unit, ...]] = {}
for _measure, _size, _names in _NAMES:
    for _name in _names.split(", "):
        _UNITS[_name] = (*_UNITS.get(_name, ()), Unit(_measure, _size))


def plain_words(text: str) -> list[str]:
    """Return the words of a unit in small letters, without accents, dots and the s of the plural.

    What only explains is left out: what stands in brackets, and what it is a unit of ("grams of
    protein", "gramos de proteína").
    """
    without = re.sub(r"\([^)]*\)", " ", unicodedata.normalize("NFKD", text.casefold()))
    without = re.split(r"\s(?:of|de)\s", without)[0]
    plain = "".join(char for char in without if unicodedata.category(char) != "Mn")
    words = re.findall(r"[^\W\d_]+", plain.replace(".", ""))
    return [word if word == "us" else word.removesuffix("s") for word in words]


def units_named(text: str) -> tuple[Unit, ...]:
    """Return the units that a text may name: two for an ounce, none for what is not known."""
    return _UNITS.get(" ".join(plain_words(text)), ())


def unit_of_question(names: Iterable[str]) -> Unit | None:
    """Return the unit that its names in all languages agree on, or None if they do not."""
    common: set[Unit] | None = None
    for name in names:
        found = set(units_named(name))
        common = found if common is None else common & found
    return next(iter(common)) if common and len(common) == 1 else None


def converted(number: Decimal, typed_unit: str, *, into: Unit) -> Decimal | None:
    """Return a number in the unit `into`, to a thousandth; None if the unit is of another kind."""
    for unit in units_named(typed_unit):
        if unit.measure == into.measure:
            with localcontext(Context(prec=DIGITS)):
                return (number * unit.size / into.size).quantize(PLACES)
    return None
