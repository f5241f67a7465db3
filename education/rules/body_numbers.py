"""How much should somebody weigh, and how much energy do they need at rest?

Each figure comes with its basis and its source. They are aids to a dietitian's judgement: every one
of them can be set aside for a patient, with a reason.
"""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum

from education.rules.measures import CM_PER_IN

DEVINE_FROM_INCHES = 60
MIFFLIN_AGES = (19, 78)  # the ages of the people that it was derived on (standards NUT-39)


class Sex(StrEnum):
    """The two that the formulas know."""

    FEMALE = "female"
    MALE = "male"


class Basis(StrEnum):
    """What a figure was computed from."""

    SETTING = "setting"
    DEVINE = "devine"
    BMI_25 = "bmi_25"
    ADJUSTED = "adjusted"
    ACTUAL = "actual"
    HEIGHT_AND_WEIGHT = "height_and_weight"
    MIFFLIN = "mifflin"
    OVERRIDE = "override"


# Of which weight a programme may take its grams of protein.
WEIGHT_BASES = (Basis.DEVINE, Basis.BMI_25, Basis.ADJUSTED, Basis.ACTUAL)


class Source(StrEnum):
    """Who published it."""

    DEVINE_1974 = "devine_1974"
    WHO = "who"
    MIFFLIN_1990 = "mifflin_1990"
    ADJUSTED_NUTRITION = "adjusted_nutrition"
    ADJUSTED_DRUGS = "adjusted_drugs"
    PROGRAMME = "programme"
    STAFF = "staff"


class Missing(StrEnum):
    """Why there is no figure."""

    HEIGHT = "height"
    WEIGHT = "weight"
    SEX = "sex"
    BELOW_60_INCHES = "below_60_inches"  # sources differ below; so it is not defined (NUT-31)


class Caution(StrEnum):
    OUTSIDE_AGES = "outside_ages"


@dataclass(frozen=True)
class Figure:
    """A number, unrounded, with what it rests on. `unit`: kg, kg/m2, kcal/day, g/day, mL/day."""

    value: Decimal
    unit: str
    basis: Basis
    source: Source
    cautions: tuple[Caution, ...] = ()
    factor: Decimal | None = None


@dataclass(frozen=True)
class Body:
    """What is on record; None is not known."""

    kg: Decimal | None
    cm: Decimal | None
    sex: Sex | None
    birth_date: date


def devine(body: Body) -> Figure | Missing:
    """Ideal weight, kg: 50 (men) or 45.5 (women) + 2.3 for each inch over 60 (Devine 1974)."""
    if body.cm is None:
        return Missing.HEIGHT
    if body.sex is None:
        return Missing.SEX
    over = body.cm / CM_PER_IN - DEVINE_FROM_INCHES
    if over < 0:
        return Missing.BELOW_60_INCHES
    base = Decimal("50") if body.sex == Sex.MALE else Decimal("45.5")
    return Figure(base + Decimal("2.3") * over, "kg", Basis.DEVINE, Source.DEVINE_1974)


def bmi_25_weight(body: Body) -> Figure | Missing:
    """The weight, kg, at which the BMI is 25: 25 times the height in metres squared."""
    if body.cm is None:
        return Missing.HEIGHT
    return Figure(25 * (body.cm / 100) ** 2, "kg", Basis.BMI_25, Source.WHO)


def adjusted(body: Body, *, factor: Decimal) -> Figure | Missing:
    """Devine's weight and a share of what is over it, kg.

    `factor`: sources print 0.25 for nutrition and 0.4 for drug dosing (standards D-7), so it is the
    programme's setting and is shown with the figure.
    """
    ideal = devine(body)
    if isinstance(ideal, Missing):
        return ideal
    if body.kg is None:
        return Missing.WEIGHT
    value = ideal.value + factor * (body.kg - ideal.value)
    published = {
        Decimal("0.25"): Source.ADJUSTED_NUTRITION,
        Decimal("0.4"): Source.ADJUSTED_DRUGS,
    }
    source = published.get(factor.normalize(), Source.PROGRAMME)
    return Figure(value, "kg", Basis.ADJUSTED, source, factor=factor)


def bmi(body: Body) -> Figure | Missing:
    """Body mass index: kg divided by the height in metres squared."""
    if body.kg is None:
        return Missing.WEIGHT
    if body.cm is None:
        return Missing.HEIGHT
    value = body.kg / (body.cm / 100) ** 2
    return Figure(value, "kg/m²", Basis.HEIGHT_AND_WEIGHT, Source.WHO)


def resting_energy(body: Body, *, on: date) -> Figure | Missing:
    """Mifflin-St Jeor, kcal a day: 10 kg + 6.25 cm - 5 years + 5 (men) or - 161 (women).

    The actual weight is used, in obesity too (standards NUT-39).
    """
    if body.kg is None:
        return Missing.WEIGHT
    if body.cm is None:
        return Missing.HEIGHT
    if body.sex is None:
        return Missing.SEX
    years = age(body.birth_date, on=on)
    last = 5 if body.sex == Sex.MALE else -161
    value = 10 * body.kg + Decimal("6.25") * body.cm - 5 * years + last
    known = MIFFLIN_AGES[0] <= years <= MIFFLIN_AGES[1]
    return Figure(
        value,
        "kcal/day",
        Basis.MIFFLIN,
        Source.MIFFLIN_1990,
        () if known else (Caution.OUTSIDE_AGES,),
    )


def actual(body: Body) -> Figure | Missing:
    """The weight on record, kg."""
    if body.kg is None:
        return Missing.WEIGHT
    return Figure(body.kg, "kg", Basis.ACTUAL, Source.STAFF)


def age(birth_date: date, *, on: date) -> int:
    """Whole years; who is born on 29 February turns a year older on 1 March (standards CAL-7)."""
    before = (on.month, on.day) < (birth_date.month, birth_date.day)
    return on.year - birth_date.year - before
