"""The tests' own look for a year finds one, and is not misled by a longer number."""

import pytest

from tests.tells import dated


@pytest.mark.parametrize(
    "text",
    ["1998", "born in 1998.", "1998-03-12", '"3/12/1998"', "12.3.1998", "=19980312\n", "12031998"],
)
def test_a_year_is_found(text: str) -> None:
    assert dated(text, year=1998)


@pytest.mark.parametrize(
    "text",
    ["0.0002749919985944871", "===============4319982007==", "61998", "20261129T1998Z", "a1998b"],
)
def test_the_digits_of_another_number_are_no_year(text: str) -> None:
    assert not dated(text, year=1998)
