"""Which number was typed as an answer?

People write 64, 64.0, 64,0 and "64 oz", and "60 grams" where ounces were asked for: a unit that is
known is converted (`units.py`). What could mean two numbers (1,200 is 1200 here and 1.2 there) is
asked about, never guessed.
"""

import re
import unicodedata
from collections.abc import Iterable
from decimal import Decimal
from enum import StrEnum

from education.rules.units import converted, unit_of_question, units_named

MAX_LENGTH = 40  # characters; checked before anything else is

# Blanks part groups of three, as in 1 200.
_NUMBER = re.compile(
    r"""(?P<sign>[-+−]?)\s?
        (?P<whole>\d+(?:\s\d{3})*)
        (?:(?P<mark>[.,٫])(?P<rest>\d+))?""",
    re.VERBOSE,
)
# 1,200.5 and 1.200,5: both marks are there, so the last one is the decimal mark.
_GROUPED = re.compile(
    r"""(?P<sign>[-+−]?)\s?
        (?P<whole>\d{1,3}(?:(?P<group>[.,])\d{3})+)
        (?!(?P=group))[.,](?P<rest>\d+)""",
    re.VERBOSE,
)
_NUMBER_THEN_WORDS = re.compile(r"(?P<number>[-+−]?\s?\d[\d\s.,٫]*)(?P<words>.*)", re.DOTALL)


class NumberProblem(StrEnum):
    EMPTY = "empty"
    TOO_LONG = "too_long"
    NOT_A_NUMBER = "not_a_number"
    OTHER_UNIT = "other_unit"
    COULD_BE_TWO = "could_be_two"


def read_number(typed: str, *, units: Iterable[str]) -> Decimal | NumberProblem:
    """Return the number that was typed, in the question's unit, or what is wrong with it.

    `units`: the names of the question's unit, in every language; each of their words may stand
    behind the number, in the singular too. Behind another unit of the same measure the number is
    converted, to a thousandth.
    """
    if len(typed) > MAX_LENGTH:
        return NumberProblem.TOO_LONG
    text = unicodedata.normalize("NFKC", typed).strip()
    if not text:
        return NumberProblem.EMPTY
    parts = _NUMBER_THEN_WORDS.fullmatch(text)
    if parts is None:
        return NumberProblem.NOT_A_NUMBER
    named = tuple(units)
    value = _value(parts["number"].strip().rstrip(".,"))
    if _words(parts["words"]) <= _words(" ".join(named)):
        return value
    unit = unit_of_question(named)
    if unit is None or all(one.measure != unit.measure for one in units_named(parts["words"])):
        return NumberProblem.OTHER_UNIT
    if isinstance(value, NumberProblem):
        return value
    in_unit = converted(value, parts["words"], into=unit)
    return NumberProblem.OTHER_UNIT if in_unit is None else in_unit


def _value(text: str) -> Decimal | NumberProblem:
    grouped = _GROUPED.fullmatch(text)
    plain = _NUMBER.fullmatch(text)
    found = grouped or plain
    if found is None:
        return NumberProblem.NOT_A_NUMBER
    if plain and plain["mark"] in {".", ","} and _could_be_thousands(plain):
        return NumberProblem.COULD_BE_TWO
    whole = "".join(char for char in found["whole"] if char.isdecimal())
    sign = "-" if found["sign"] in {"-", "−"} else ""
    return Decimal(f"{sign}{whole}.{found['rest']}" if found["rest"] else f"{sign}{whole}")


def _could_be_thousands(number: re.Match[str]) -> bool:
    """1,200 and 1.200 could be 1200; 0,125 and 1234,567 could not."""
    whole, rest = number["whole"], number["rest"]
    return len(rest) == 3 and len(whole) <= 3 and not whole.startswith("0")


def _words(text: str) -> set[str]:
    """The words of a unit in small letters, without accents, dots and the s of the plural."""
    plain = "".join(
        char
        for char in unicodedata.normalize("NFKD", text.casefold())
        if unicodedata.category(char) != "Mn"
    )
    return {word.removesuffix("s") for word in re.findall(r"[^\W\d_]+", plain.replace(".", ""))}
