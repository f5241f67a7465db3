"""Who is looked at: by date first, then those whose names have the rarest keys in common."""

from datetime import date
from math import log

import pytest

from patients.rules.candidates import (
    NEAREST_BY_KEYS,
    compare,
    nearest_by_keys,
    rarest_keys,
)
from patients.rules.date_likeness import Born
from patients.rules.identity_keys import (
    ACROSS_PARTS,
    WITHIN_PARTS,
    exchanged_digits_keys,
    key,
)
from patients.rules.in_memory import InMemoryRegister, Person
from patients.rules.names import normal_name


def test_the_rarest_keys_come_first_until_the_names_behind_them_are_too_many() -> None:
    """What a key says is the self-information of its rarity: common practice, as in inverse
    document frequency (log of all over those that have it)."""
    shared_by = {1: 40, 2: 3, 3: 0, 4: 60, 5: 3}
    chosen = rarest_keys(shared_by, 1000, upto=50)
    assert list(chosen) == [2, 5, 1]  # nobody has key 3; with key 4 they would be 106
    assert chosen[2] == chosen[5] == round(100 * log(1000 / 3))
    assert chosen[1] == round(100 * log(1000 / 40))
    assert list(rarest_keys(shared_by, 1000, upto=47)) == [2, 5, 1]
    assert list(rarest_keys(shared_by, 1000, upto=46)) == [2, 5]  # fewer than so many


def test_of_equal_names_the_first_on_the_register_is_nearest() -> None:
    assert nearest_by_keys({7: 10, 3: 10, 5: 20, 1: 5}, most=3) == [5, 3, 7]


@pytest.mark.parametrize(("born", "compared"), [(date(1999, 9, 19), NEAREST_BY_KEYS), (None, 50)])
def test_all_are_compared_where_no_date_of_birth_can_tell_them_apart(
    born: Born, compared: int
) -> None:
    register = InMemoryRegister(
        Person(n, f"{'ABDEGIKLMNOPRSTUV'[n % 17]}o", "Quillfeather", date(1950 + n, 3, 2))
        for n in range(50)
    )
    found = compare(normal_name("Wilhelmina", "Quillfeather"), born, register, None)
    assert len(found.compared) == compared


def test_of_exchanged_digits_only_dates_that_there_are_are_asked_for() -> None:
    """Of 1980-05-03: not 1980-50-03, not 1980-00-53, and no other century."""
    assert exchanged_digits_keys(date(1980, 5, 3), WITHIN_PARTS) == {
        key("date", "1908", "5", "3"),
        key("date", "1980", "5", "30"),
    }
    assert exchanged_digits_keys(date(1980, 5, 3), ACROSS_PARTS) == set()
    # Nor 1980-01-45 or 1980-04-51.
    assert exchanged_digits_keys(date(1980, 4, 15), WITHIN_PARTS) == {
        key("date", "1908", "4", "15")
    }
    # 1980-11-12: 1981-01-12, and nothing new where both digits are equal.
    assert exchanged_digits_keys(date(1980, 11, 12), ACROSS_PARTS) == {
        key("date", "1981", "1", "12")
    }
    assert exchanged_digits_keys(None, WITHIN_PARTS) == set()
