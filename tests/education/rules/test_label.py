"""A product's printed numbers against a stage's limits. The limits here are common practice."""

from decimal import Decimal

import pytest

from education.rules.label import Label, Limits, Nutrient, Printed, Way, Why, Word, check

LIMITS = Limits(
    protein_at_least=Decimal(20),
    sugars_at_most=Decimal(5),
    energy_at_most=Decimal(200),
)


def printed(protein: int, sugars: int | None, energy: int) -> Printed:
    return Printed(
        protein=Decimal(protein),
        sugars=Decimal(sugars) if sugars is not None else None,
        energy=Decimal(energy),
    )


MILK = printed(8, 12, 100)
ROWS = [
    (Label(printed(30, 3, 160)), Word.FITS, set(), "within all three"),
    (Label(printed(20, 5, 200)), Word.FITS, set(), "on each limit"),
    (
        Label(printed(30, 6, 160)),
        Word.DOES_NOT_FIT,
        {(Why.TOO_MUCH, Way.AS_SOLD, Nutrient.SUGARS)},
        "a gram too sweet",
    ),
    (
        Label(printed(15, 3, 160)),
        Word.DOES_NOT_FIT,
        {(Why.TOO_LITTLE, Way.AS_SOLD, Nutrient.PROTEIN)},
        "too little protein",
    ),
    (
        Label(printed(24, 2, 120), mixed_with=MILK),
        Word.DOES_NOT_FIT,
        {
            (Why.TOO_MUCH, Way.AS_DRUNK, Nutrient.SUGARS),
            (Why.TOO_MUCH, Way.AS_DRUNK, Nutrient.ENERGY),
        },
        "fits as sold, and not with milk",
    ),
    (
        Label(printed(15, 1, 70), mixed_with=printed(8, 0, 60)),
        Word.FITS,
        set(),
        "what it is mixed with brings the protein that is missing",
    ),
    (
        Label(printed(80, 4, 380), per_100=True, serving=Decimal(30)),
        Word.FITS,
        set(),
        "per 100 g, with 30 g a serving: 24 g, 1.2 g, 114 kcal",
    ),
    (
        Label(printed(80, 4, 380), per_100=True),
        Word.CANNOT_TELL,
        {(Why.NO_SERVING_SIZE, None, None)},
        "per 100 g alone says nothing about a serving",
    ),
    (
        Label(printed(30, None, 160)),
        Word.CANNOT_TELL,
        {(Why.NOT_PRINTED, Way.AS_SOLD, Nutrient.SUGARS)},
        "never fits by silence",
    ),
    (
        Label(printed(10, None, 160)),
        Word.DOES_NOT_FIT,
        {
            (Why.NOT_PRINTED, Way.AS_SOLD, Nutrient.SUGARS),
            (Why.TOO_LITTLE, Way.AS_SOLD, Nutrient.PROTEIN),
        },
        "one reason is enough",
    ),
    (
        Label(printed(0, 0, 5)),
        Word.DOES_NOT_FIT,
        {(Why.NO_PROTEIN, Way.AS_SOLD, Nutrient.PROTEIN)},
        "no protein at all",
    ),
    (
        Label(Printed(Decimal(30), Decimal(2), Decimal(4), Decimal(160))),
        Word.CANNOT_TELL,
        {(Why.MORE_ADDED_THAN_TOTAL, None, None)},
        "added sugars are part of total sugars: one was misread",
    ),
]


@pytest.mark.parametrize("label, word, reasons, why", ROWS)
def test_check(
    label: Label, word: Word, reasons: set[tuple[Why, Way | None, Nutrient | None]], why: str
) -> None:
    found = check(label, LIMITS)
    assert found.word == word, why
    assert {(r.why, r.way, r.nutrient) for r in found.reasons} == reasons, why


def test_as_sold_and_as_drunk_are_both_told() -> None:
    found = check(Label(printed(24, 2, 120), mixed_with=MILK), LIMITS)
    assert found.as_sold is not None
    assert found.as_sold.protein == 24
    assert found.as_drunk is not None
    assert found.as_drunk.protein == 32
