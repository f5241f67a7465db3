"""Body numbers against the published examples of standards NUT-30 to NUT-39."""

from datetime import date
from decimal import Decimal

import pytest

from education.rules.body_numbers import (
    Basis,
    Body,
    Caution,
    Figure,
    Missing,
    Sex,
    Source,
    adjusted,
    age,
    bmi,
    bmi_25_weight,
    devine,
    resting_energy,
)

ON = date(2026, 3, 10)
INCH = Decimal("2.54")


def body(
    *,
    kg: str | None = None,
    cm: str | None = None,
    inches: str | None = None,
    sex: Sex | None = None,
    years: int = 40,
) -> Body:
    height = Decimal(inches) * INCH if inches else Decimal(cm) if cm else None
    return Body(Decimal(kg) if kg else None, height, sex, date(ON.year - years, 1, 1))


def value(found: Figure | Missing) -> float:
    assert isinstance(found, Figure), found
    return float(found.value)


@pytest.mark.parametrize(
    "sex, inches, kg",
    [
        (Sex.FEMALE, "64", 54.7),
        (Sex.MALE, "64", 59.2),
        (Sex.MALE, "70", 73.0),
        (Sex.FEMALE, "66", 59.3),
        (Sex.FEMALE, "60", 45.5),
    ],
)
def test_devine(sex: Sex, inches: str, kg: float) -> None:
    """NUT-30: Devine 1974, as reproduced in teaching slides."""
    found = devine(body(inches=inches, sex=sex))
    assert value(found) == pytest.approx(kg, abs=0.05)
    assert isinstance(found, Figure)
    assert (found.basis, found.source, found.unit) == (Basis.DEVINE, Source.DEVINE_1974, "kg")


def test_devine_of_165_cm() -> None:
    """NUT-16: 56.9 kg."""
    assert value(devine(body(cm="165", sex=Sex.FEMALE))) == pytest.approx(56.9, abs=0.05)


def test_devine_is_not_defined_below_60_inches() -> None:
    """NUT-31: published ways round it differ (58 in woman: 40.9 or 45.5 kg)."""
    assert devine(body(inches="58", sex=Sex.FEMALE)) == Missing.BELOW_60_INCHES


def test_bmi_25_weight() -> None:
    """NUT-32."""
    assert value(bmi_25_weight(body(cm="165"))) == pytest.approx(68.06, abs=0.01)


@pytest.mark.parametrize(
    "sex, inches, kg, factor, expected, source",
    [
        (Sex.FEMALE, "64", "80", "0.4", 64.82, Source.ADJUSTED_DRUGS),  # NUT-33
        (Sex.MALE, "70", "110", "0.4", 87.8, Source.ADJUSTED_DRUGS),  # NUT-33
        (Sex.MALE, "70", "110", "0.25", 82.25, Source.ADJUSTED_NUTRITION),  # NUT-34
        (Sex.MALE, "70", "110", "0.3", 84.1, Source.PROGRAMME),  # arithmetic
    ],
)
def test_adjusted_weight_names_its_factor(
    sex: Sex, inches: str, kg: str, factor: str, expected: float, source: Source
) -> None:
    found = adjusted(body(inches=inches, sex=sex, kg=kg), factor=Decimal(factor))
    assert value(found) == pytest.approx(expected, abs=0.05)
    assert isinstance(found, Figure)
    assert (found.source, found.factor) == (source, Decimal(factor))


def test_bmi() -> None:
    """NUT-35: WHO Global Database text."""
    assert value(bmi(body(kg="70", cm="175"))) == pytest.approx(22.9, abs=0.05)


@pytest.mark.parametrize(
    "years, kg, cm, expected, tolerance",
    [(30, "68", "165", 1400.25, 0.01), (45, "75", "165.1", 1395.875, 0.01)],
)
def test_resting_energy(years: int, kg: str, cm: str, expected: float, tolerance: float) -> None:
    """NUT-37: Am J Clin Nutr 1990;51:241-247, two published worked examples."""
    found = resting_energy(body(kg=kg, cm=cm, sex=Sex.FEMALE, years=years), on=ON)
    assert value(found) == pytest.approx(expected, abs=tolerance)


def test_pounds_are_not_divided_by_two_point_two() -> None:
    """NUT-51: 165 lb at 165.1 cm, 45 years: 1394.3, where 75 kg would give 1395.9."""
    found = resting_energy(body(kg="74.84268", cm="165.1", sex=Sex.FEMALE, years=45), on=ON)
    assert value(found) == pytest.approx(1394.3, abs=0.05)


@pytest.mark.parametrize("years, warned", [(18, True), (19, False), (78, False), (79, True)])
def test_resting_energy_warns_outside_the_ages_it_was_derived_on(years: int, warned: bool) -> None:
    """NUT-39: 498 adults aged 19 to 78."""
    found = resting_energy(body(kg="120", cm="165", sex=Sex.MALE, years=years), on=ON)
    assert isinstance(found, Figure)
    assert (Caution.OUTSIDE_AGES in found.cautions) is warned


def test_what_is_not_known_is_named() -> None:
    assert devine(body(cm="165")) == Missing.SEX
    assert devine(body(sex=Sex.MALE)) == Missing.HEIGHT
    assert bmi(body(cm="165")) == Missing.WEIGHT
    assert adjusted(body(cm="165", sex=Sex.MALE), factor=Decimal("0.25")) == Missing.WEIGHT
    assert resting_energy(body(kg="120", cm="165"), on=ON) == Missing.SEX


@pytest.mark.parametrize(
    "on, years",
    [("2026-02-28", 17), ("2026-03-01", 18), ("2028-02-29", 20)],  # CAL-7, CAL-8
)
def test_born_on_a_leap_day(on: str, years: int) -> None:
    assert age(date(2008, 2, 29), on=date.fromisoformat(on)) == years
