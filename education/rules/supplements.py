"""How many servings of a supplement, how much protein, how many packages to buy?"""

from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from enum import StrEnum


class SupplementProblem(StrEnum):
    NO_PROTEIN = "no_protein"  # it is no protein supplement
    NO_SERVINGS = "no_servings"  # in a package


@dataclass(frozen=True)
class Need:
    """Servings and grams of protein over some days, and what has to be bought."""

    servings: int
    protein_g: Decimal
    packages: int | None


def servings_for(target_g: Decimal | int, *, per_serving_g: Decimal) -> int | SupplementProblem:
    """Return how many servings a day reach a target; a part of one is one more."""
    if per_serving_g <= 0:
        return SupplementProblem.NO_PROTEIN
    return int((target_g / per_serving_g).to_integral_value(ROUND_CEILING))


def need(
    servings_each_day: list[int], *, per_serving_g: Decimal, in_package: int | None
) -> Need | SupplementProblem:
    """Return what the days come to. `in_package`: servings in one package, None if not known."""
    if per_serving_g <= 0:
        return SupplementProblem.NO_PROTEIN
    if in_package is not None and in_package < 1:
        return SupplementProblem.NO_SERVINGS
    servings = sum(servings_each_day)
    packages = None if in_package is None else -(-servings // in_package)
    return Need(servings, servings * per_serving_g, packages)
