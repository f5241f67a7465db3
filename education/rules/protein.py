"""How much protein a day: a floor, and a range per kg of a named weight.

Sources disagree (standards D-3), so floor, range and basis are the programme's settings, and the
word is "target", never "requirement" (NUT-14).
"""

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from education.rules.body_numbers import Basis, Figure, Source


@dataclass(frozen=True)
class ProteinTarget:
    """Grams of protein a day, whole; `weight`: what it was computed from, None if only the floor.

    `low_is_floor`, `high_is_floor`: the range of this weight lies under the floor there.
    """

    low_g: int
    high_g: int
    floor_g: int
    low_per_kg: Decimal
    high_per_kg: Decimal
    weight: Figure | None
    source: Source = Source.PROGRAMME

    @property
    def low_is_floor(self) -> bool:
        return self.weight is None or grams(self.weight.value, self.low_per_kg) < self.floor_g

    @property
    def basis(self) -> Basis | None:
        return self.weight.basis if self.weight else None


def protein_target(
    *, floor_g: int, low_per_kg: Decimal, high_per_kg: Decimal, weight: Figure | None
) -> ProteinTarget:
    """Return the target; without a weight it is the floor alone.

    Raises ValueError for a range that ends before it begins.
    """
    if high_per_kg < low_per_kg:
        raise ValueError("the range of protein per kg ends before it begins")
    low = high = floor_g
    if weight is not None:
        low = max(floor_g, grams(weight.value, low_per_kg))
        high = max(floor_g, grams(weight.value, high_per_kg))
    return ProteinTarget(low, high, floor_g, low_per_kg, high_per_kg, weight)


def grams(kg: Decimal, per_kg: Decimal) -> int:
    """Return whole grams: 82 kg at 1.2 g/kg are 98 (standards NUT-15)."""
    return int((kg * per_kg).to_integral_value(ROUND_HALF_UP))
