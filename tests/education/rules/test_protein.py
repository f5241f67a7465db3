"""Protein a day, against standards NUT-10 to NUT-16."""

from decimal import Decimal

import pytest

from education.rules.body_numbers import Basis, Figure, Source
from education.rules.protein import grams, protein_target


def weight(kg: str, basis: Basis = Basis.DEVINE) -> Figure:
    return Figure(Decimal(kg), "kg", basis, Source.DEVINE_1974)


@pytest.mark.parametrize("per_kg, expected", [("1.2", 98), ("1.4", 115)])
def test_published_arithmetic(per_kg: str, expected: int) -> None:
    """NUT-15: 82 kg."""
    assert grams(Decimal(82), Decimal(per_kg)) == expected


@pytest.mark.parametrize(
    "kg, basis, low, high",
    [
        ("56.910", Basis.DEVINE, 57, 85),
        ("68.0625", Basis.BMI_25, 68, 102),
        ("120", Basis.ACTUAL, 120, 180),
    ],
)
def test_the_weight_matters(kg: str, basis: Basis, low: int, high: int) -> None:
    """NUT-16: one woman of 165 cm, three bases, so the basis comes with the target."""
    found = protein_target(
        floor_g=0, low_per_kg=Decimal("1.0"), high_per_kg=Decimal("1.5"), weight=weight(kg, basis)
    )
    assert (found.low_g, found.high_g, found.basis) == (low, high, basis)


def test_the_floor_holds() -> None:
    """NUT-11: at least 60 g, or 1.1 g/kg."""
    found = protein_target(
        floor_g=60, low_per_kg=Decimal("1.0"), high_per_kg=Decimal("1.5"), weight=weight("45.5")
    )
    assert (found.low_g, found.high_g, found.low_is_floor) == (60, 68, True)


def test_without_a_weight_there_is_the_floor_alone() -> None:
    found = protein_target(
        floor_g=60, low_per_kg=Decimal("1.0"), high_per_kg=Decimal("1.5"), weight=None
    )
    assert (found.low_g, found.high_g, found.basis) == (60, 60, None)


def test_a_range_that_ends_before_it_begins_is_refused() -> None:
    with pytest.raises(ValueError, match="before it begins"):
        protein_target(
            floor_g=60, low_per_kg=Decimal(2), high_per_kg=Decimal(1), weight=weight("60")
        )
