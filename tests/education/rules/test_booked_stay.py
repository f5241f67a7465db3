"""Booked dates against days counted from the OR date; counted on a calendar."""

from datetime import date

import pytest

from education.rules.booked_stay import StayDoubt, booked_stay
from education.rules.eating_stages import Stay

USUAL = Stay(nights=1, first_visit_days=14)
OR_DATE = date(2028, 2, 27)  # the stay crosses 29 February
CASES = [
    (None, None, Stay(1, 14), (), "nothing is booked"),
    (None, date(2028, 3, 10), Stay(1, 12), (), "29 February counts"),
    (date(2028, 2, 29), None, Stay(2, 14), (), "one night more"),
    (date(2028, 2, 27), None, Stay(0, 14), (), "home the same day"),
    (date(2028, 2, 26), None, USUAL, (StayDoubt.HOME_BEFORE_OPERATION,), "the date moved past it"),
    (None, date(2028, 2, 20), USUAL, (StayDoubt.VISIT_NOT_AFTER_HOME,), "the date moved past it"),
    (date(2028, 3, 12), None, Stay(14, 27), (StayDoubt.VISIT_NOT_AFTER_HOME,), "two weeks there"),
    (date(2028, 3, 12), date(2028, 3, 20), Stay(14, 22), (), "and a visit booked after it"),
]


@pytest.mark.parametrize("home_on, visit_on, stay, doubts, why", CASES, ids=[c[-1] for c in CASES])
def test_booked_stay(
    home_on: date | None,
    visit_on: date | None,
    stay: Stay,
    doubts: tuple[StayDoubt, ...],
    why: str,
) -> None:
    found = booked_stay(USUAL, OR_DATE, home_on=home_on, first_visit_on=visit_on)
    assert (found.stay, found.doubts) == (stay, doubts), why


def test_without_an_or_date_nothing_can_be_counted() -> None:
    found = booked_stay(USUAL, None, home_on=None, first_visit_on=date(2028, 3, 10))
    assert (found.stay, found.doubts) == (USUAL, ())
