"""Does a product, by the numbers printed on it, fit a stage's limits?

Asked as sold and as drunk: a powder mixed with milk has the milk's sugar too. A label that prints
100 g alone says nothing about a serving until somebody says how big one is: it is not guessed.
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from decimal import Decimal
from enum import StrEnum


class Nutrient(StrEnum):
    """Protein and sugars in g, energy in kcal, caffeine in mg."""

    PROTEIN = "protein"
    SUGARS = "sugars"
    ADDED_SUGARS = "added_sugars"
    ENERGY = "energy"
    CAFFEINE = "caffeine"


class Way(StrEnum):
    AS_SOLD = "as_sold"
    AS_DRUNK = "as_drunk"


class Word(StrEnum):
    FITS = "fits"
    DOES_NOT_FIT = "does_not_fit"
    CANNOT_TELL = "cannot_tell"


class Why(StrEnum):
    TOO_LITTLE = "too_little"
    TOO_MUCH = "too_much"
    NOT_PRINTED = "not_printed"
    NO_SERVING_SIZE = "no_serving_size"  # the label gives 100 g or 100 mL alone
    MORE_ADDED_THAN_TOTAL = "more_added_than_total"  # one of the two was read wrongly
    NO_PROTEIN = "no_protein"


@dataclass(frozen=True)
class Printed:
    """Numbers on a label; None is not printed."""

    protein: Decimal | None = None
    sugars: Decimal | None = None
    added_sugars: Decimal | None = None
    energy: Decimal | None = None
    caffeine: Decimal | None = None

    def of(self, nutrient: Nutrient) -> Decimal | None:
        found: Decimal | None = getattr(self, nutrient.value)
        return found


@dataclass(frozen=True)
class Label:
    """One product. `per_100`: the numbers are for 100 g or mL; `serving`: a serving in the same.

    `mixed_with`: the numbers of what a serving is mixed with; water adds none.
    """

    printed: Printed
    per_100: bool = False
    serving: Decimal | None = None
    mixed_with: Printed | None = None


@dataclass(frozen=True)
class Limits:
    """A stage's limits for one serving; None is no limit."""

    protein_at_least: Decimal | None = None
    sugars_at_most: Decimal | None = None
    added_sugars_at_most: Decimal | None = None
    energy_at_most: Decimal | None = None
    caffeine_at_most: Decimal | None = None

    def of(self, nutrient: Nutrient) -> Decimal | None:
        end = "at_least" if nutrient == Nutrient.PROTEIN else "at_most"
        found: Decimal | None = getattr(self, f"{nutrient.value}_{end}")
        return found


@dataclass(frozen=True)
class Reason:
    why: Why
    way: Way | None = None
    nutrient: Nutrient | None = None
    found: Decimal | None = None
    limit: Decimal | None = None


@dataclass(frozen=True)
class LabelAnswer:
    """`as_sold`, `as_drunk`: what one serving has; None when the label does not tell."""

    word: Word
    reasons: tuple[Reason, ...]
    as_sold: Printed | None
    as_drunk: Printed | None


UNTELLING = frozenset({Why.NOT_PRINTED, Why.NO_SERVING_SIZE, Why.MORE_ADDED_THAN_TOTAL})


def check(label: Label, limits: Limits) -> LabelAnswer:
    """Compare one serving, as sold and as drunk, with a stage's limits.

    One number over its limit is enough not to fit, even where others are not printed. A number that
    a limit needs and that is not printed leaves the answer open: never "fits" by silence.
    """
    if label.per_100 and not label.serving:
        return LabelAnswer(Word.CANNOT_TELL, (Reason(Why.NO_SERVING_SIZE),), None, None)
    sold = _times(label.printed, (label.serving or Decimal(100)) / 100 if label.per_100 else None)
    drunk = _sum(sold, label.mixed_with) if label.mixed_with else sold
    reasons = [*_odd(sold), *_against(sold, limits, Way.AS_SOLD, drunk_differs=drunk != sold)]
    reasons += _against(drunk, limits, Way.AS_DRUNK, drunk_differs=False) if drunk != sold else []
    if any(one.why not in UNTELLING for one in reasons):
        word = Word.DOES_NOT_FIT
    else:
        word = Word.CANNOT_TELL if reasons else Word.FITS
    return LabelAnswer(word, tuple(reasons), sold, drunk)


def _odd(sold: Printed) -> Iterator[Reason]:
    if None not in (sold.sugars, sold.added_sugars) and sold.added_sugars > sold.sugars:  # type: ignore[operator]
        yield Reason(Why.MORE_ADDED_THAN_TOTAL, found=sold.added_sugars, limit=sold.sugars)
    if sold.protein == 0:
        yield Reason(Why.NO_PROTEIN, Way.AS_SOLD, Nutrient.PROTEIN, sold.protein)


def _against(has: Printed, limits: Limits, way: Way, *, drunk_differs: bool) -> Iterator[Reason]:
    for nutrient in Nutrient:
        limit, found = limits.of(nutrient), has.of(nutrient)
        if limit is None or (nutrient == Nutrient.PROTEIN and found == 0):
            continue
        if found is None:
            yield Reason(Why.NOT_PRINTED, way, nutrient, None, limit)
        elif nutrient == Nutrient.PROTEIN:
            # What it is mixed with may bring the rest; then as drunk decides.
            if found < limit and not drunk_differs:
                yield Reason(Why.TOO_LITTLE, way, nutrient, found, limit)
        elif found > limit:
            yield Reason(Why.TOO_MUCH, way, nutrient, found, limit)


def _times(printed: Printed, share: Decimal | None) -> Printed:
    if share is None:
        return printed
    return Printed(**{f.name: _scaled(getattr(printed, f.name), share) for f in fields(Printed)})


def _scaled(value: Decimal | None, share: Decimal) -> Decimal | None:
    return None if value is None else value * share


def _sum(one: Printed, other: Printed) -> Printed:
    added = {}
    for f in fields(Printed):
        a, b = getattr(one, f.name), getattr(other, f.name)
        added[f.name] = None if a is None or b is None else a + b
    return Printed(**added)
