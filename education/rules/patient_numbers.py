"""A patient's numbers for the eating plan, each with what it rests on.

The dietitian may put another number in place of any of them; then it says so, and what would have
been computed stands beside it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from enum import StrEnum

from education.rules.body_numbers import (
    Basis,
    Body,
    Figure,
    Missing,
    Source,
    actual,
    adjusted,
    bmi,
    bmi_25_weight,
    devine,
    resting_energy,
)
from education.rules.protein import ProteinTarget, protein_target


class OwnNumber(StrEnum):
    """What a dietitian may set for one patient; in kg, kcal, g, mL and g a serving."""

    IDEAL_WEIGHT = "ideal_weight"
    BMI_25_WEIGHT = "bmi_25_weight"
    ADJUSTED_WEIGHT = "adjusted_weight"
    RESTING_ENERGY = "resting_energy"
    PROTEIN_LOW = "protein_low"
    PROTEIN_HIGH = "protein_high"
    FLUID = "fluid"
    PROTEIN_PER_SERVING = "protein_per_serving"


# Between which values a number of the dietitian's own is taken without a question; no medical
# limit, but what keeps a slip of the keyboard (kg for g) out of a plan.
LIKELY_OWN = {
    OwnNumber.IDEAL_WEIGHT: (30, 150),
    OwnNumber.BMI_25_WEIGHT: (30, 150),
    OwnNumber.ADJUSTED_WEIGHT: (30, 250),
    OwnNumber.RESTING_ENERGY: (600, 4500),
    OwnNumber.PROTEIN_LOW: (20, 250),
    OwnNumber.PROTEIN_HIGH: (20, 250),
    OwnNumber.FLUID: (250, 5000),
    OwnNumber.PROTEIN_PER_SERVING: (5, 60),
}


@dataclass(frozen=True)
class Settings:
    """The programme's numbers."""

    protein_floor_g: int
    protein_low_per_kg: Decimal
    protein_high_per_kg: Decimal
    protein_basis: Basis
    adjusted_factor: Decimal
    fluid_ml: int
    protein_per_serving_g: Decimal


@dataclass(frozen=True)
class Shown:
    """One number: the one that counts, and the computed one where the dietitian set another."""

    what: OwnNumber | None
    figure: Figure | Missing
    instead_of: Figure | Missing | None = None

    @property
    def value(self) -> Decimal | None:
        return None if isinstance(self.figure, Missing) else self.figure.value


@dataclass(frozen=True)
class Numbers:
    """All of a patient's numbers on a day."""

    actual: Shown
    bmi: Shown
    ideal: Shown
    bmi_25: Shown
    adjusted: Shown
    energy: Shown
    protein: ProteinTarget
    protein_low: Shown
    protein_high: Shown
    fluid: Shown
    per_serving: Shown


def patient_numbers(
    body: Body, settings: Settings, own: Mapping[OwnNumber, Decimal], *, on: date
) -> Numbers:
    """Compute the numbers of a patient; `own`: what the dietitian set instead."""
    ideal = _shown(OwnNumber.IDEAL_WEIGHT, devine(body), own)
    bmi_25 = _shown(OwnNumber.BMI_25_WEIGHT, bmi_25_weight(body), own)
    adjusted_weight = _shown(
        OwnNumber.ADJUSTED_WEIGHT, adjusted(body, factor=settings.adjusted_factor), own
    )
    weight = Shown(None, actual(body))
    by_basis = {
        Basis.DEVINE: ideal,
        Basis.BMI_25: bmi_25,
        Basis.ADJUSTED: adjusted_weight,
        Basis.ACTUAL: weight,
    }
    chosen = by_basis[settings.protein_basis].figure
    protein = protein_target(
        floor_g=settings.protein_floor_g,
        low_per_kg=settings.protein_low_per_kg,
        high_per_kg=settings.protein_high_per_kg,
        # An own number stands in for the basis: the target still says of which weight it is.
        weight=None
        if isinstance(chosen, Missing)
        else replace(chosen, basis=settings.protein_basis),
    )
    return Numbers(
        actual=weight,
        bmi=Shown(None, bmi(body)),
        ideal=ideal,
        bmi_25=bmi_25,
        adjusted=adjusted_weight,
        energy=_shown(OwnNumber.RESTING_ENERGY, resting_energy(body, on=on), own),
        protein=protein,
        protein_low=_shown(OwnNumber.PROTEIN_LOW, _set(protein.low_g, "g/day"), own),
        protein_high=_shown(OwnNumber.PROTEIN_HIGH, _set(protein.high_g, "g/day"), own),
        fluid=_shown(OwnNumber.FLUID, _set(settings.fluid_ml, "mL/day"), own),
        per_serving=_shown(
            OwnNumber.PROTEIN_PER_SERVING, _set(settings.protein_per_serving_g, "g"), own
        ),
    )


def _set(value: Decimal | int, unit: str) -> Figure:
    """A number that is the programme's setting."""
    return Figure(Decimal(value), unit, Basis.SETTING, Source.PROGRAMME)


def _shown(what: OwnNumber, computed: Figure | Missing, own: Mapping[OwnNumber, Decimal]) -> Shown:
    if what not in own:
        return Shown(what, computed)
    unit = computed.unit if isinstance(computed, Figure) else UNITS[what]
    return Shown(what, Figure(own[what], unit, Basis.OVERRIDE, Source.STAFF), computed)


UNITS = {
    OwnNumber.IDEAL_WEIGHT: "kg",
    OwnNumber.BMI_25_WEIGHT: "kg",
    OwnNumber.ADJUSTED_WEIGHT: "kg",
    OwnNumber.RESTING_ENERGY: "kcal/day",
    OwnNumber.PROTEIN_LOW: "g/day",
    OwnNumber.PROTEIN_HIGH: "g/day",
    OwnNumber.FLUID: "mL/day",
    OwnNumber.PROTEIN_PER_SERVING: "g",
}
