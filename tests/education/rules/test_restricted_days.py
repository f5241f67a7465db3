"""Days of the diet over every OR date that was on record; counted on a calendar, DAT-5 too."""

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from education.rules.restricted_days import Dated, followed

CASES = [
    # history: (since, OR date) ...; given on; followed since; days before; why
    ([("02-01", "03-10")], "02-20", "02-20", 0, "never moved"),
    ([], "02-20", "02-20", 0, "no history at all"),
    ([("02-01", "03-10"), ("03-01", "03-24")], "02-20", "02-24", 5, "DAT-5: 24 to 28 February"),
    ([("02-01", "03-10"), ("03-09", "03-24")], "02-20", "02-24", 13, "all but one day of it gone"),
    ([("02-01", "03-10"), ("02-23", "03-24")], "02-20", "02-23", 0, "moved before it began"),
    ([("02-01", "03-10"), ("03-02", "03-12")], "02-20", "02-24", 6, "by two days: an unbroken run"),
    ([("02-01", "03-10"), ("03-01", "03-24")], "03-05", "03-05", 0, "no copy before the move"),
    (
        [("02-01", "03-10"), ("03-01", None), ("03-05", "03-24")],
        "02-20",
        "03-05",
        5,
        "postponed in between: the run is broken, the days remain",
    ),
    (
        [("02-01", "03-10"), ("03-01", "03-24"), ("03-15", "03-30")],
        "02-20",
        "03-10",
        10,
        "moved twice: 5 days, then 10 to 14 March",
    ),
    ([("02-01", "02-20"), ("03-01", "03-24")], "02-01", "03-01", 14, "never past its own OR date"),
]


def day(text: str) -> date:
    return date.fromisoformat(f"2026-{text}")


@pytest.mark.parametrize("history, given_on, since, before, why", CASES, ids=[c[-1] for c in CASES])
def test_days_followed(
    history: list[tuple[str, str | None]], given_on: str, since: str, before: int, why: str
) -> None:
    dated = [Dated(day(came), day(on) if on else None) for came, on in history]
    found = followed(dated, needed=14, given_on=day(given_on))
    assert (found.since, len(found.before)) == (day(since), before), why


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 40), st.integers(1, 60)), min_size=1, max_size=5),
    st.integers(0, 40),
    st.integers(-500, 500),
)
def test_moving_everything_by_k_days_moves_every_day_by_k(
    rows: list[tuple[int, int]], given_on: int, k: int
) -> None:
    """The sum over one-day steps is the same set of days, whatever the calendar does."""

    def made(shift: int) -> tuple[date, list[date]]:
        start = date(2028, 2, 10) + timedelta(shift)  # a leap year's February
        dated = [Dated(start + timedelta(s), start + timedelta(s + o)) for s, o in sorted(rows)]
        found = followed(dated, needed=14, given_on=start + timedelta(given_on))
        return found.since, list(found.before)

    since, before = made(0)
    assert made(k) == (since + timedelta(k), [one + timedelta(k) for one in before])
