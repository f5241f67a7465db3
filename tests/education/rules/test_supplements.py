"""Servings and packages: arithmetic, checked by hand."""

from decimal import Decimal

import pytest

from education.rules.supplements import Need, SupplementProblem, need, servings_for


@pytest.mark.parametrize(
    "target, grams, servings",
    [(60, "20", 3), (60, "30", 2), (61, "30", 3), (80, "20", 4), (0, "20", 0)],
)
def test_servings_for_a_target(target: int, grams: str, servings: int) -> None:
    assert servings_for(target, per_serving_g=Decimal(grams)) == servings


def test_a_supplement_without_protein_is_none() -> None:
    assert servings_for(60, per_serving_g=Decimal(0)) == SupplementProblem.NO_PROTEIN
    assert need([3], per_serving_g=Decimal(0), in_package=4) == SupplementProblem.NO_PROTEIN


def test_what_the_plan_comes_to() -> None:
    days = [3] * 13 + [0]
    assert need(days, per_serving_g=Decimal(30), in_package=14) == Need(39, Decimal(1170), 3)
    assert need(days, per_serving_g=Decimal(20), in_package=None) == Need(39, Decimal(780), None)
    assert need(days, per_serving_g=Decimal(20), in_package=0) == SupplementProblem.NO_SERVINGS
