"""Who waits for a call although nothing is due: one table, a reason on each row."""

from datetime import date

import pytest

from education.rules.contact_wanted import Contacts, Wanted, contact_wanted

BEFORE, OPENS, ON, AHEAD = (date(2026, 3, day) for day in (1, 5, 10, 11))
W = Wanted
# opens on, has an email address, next contact, reached on, wanted, why
ROWS = [
    (OPENS, True, None, None, None, "email does it"),
    (OPENS, False, None, None, W.BY_PHONE, "no address: by phone once the window is open"),
    (ON, False, None, None, W.BY_PHONE, "from its first day"),
    (AHEAD, False, None, None, None, "and not a day before"),
    (None, False, None, None, None, "without an OR date nobody has to call"),
    (OPENS, False, None, OPENS, None, "spoken with on the day it opened"),
    (OPENS, False, None, BEFORE, W.BY_PHONE, "spoken with before it opened"),
    (OPENS, True, ON, None, W.DATE_REACHED, "the day has come"),
    (OPENS, True, OPENS, BEFORE, W.DATE_REACHED, "it came and went"),
    (OPENS, False, AHEAD, None, None, "a day is set, and lies ahead"),
    (OPENS, False, ON, OPENS, W.DATE_REACHED, "spoken with, and to go on today"),
    (AHEAD, True, ON, None, W.DATE_REACHED, "the OR date moved on: the call stays agreed"),
    (None, False, BEFORE, None, W.DATE_REACHED, "postponed without a date: the same"),
    (AHEAD, False, AHEAD, None, None, "both lie ahead"),
]


@pytest.mark.parametrize(
    "opens_on, has_email, next_on, reached_on, wanted, why", ROWS, ids=[r[5] for r in ROWS]
)
def test_who_is_called(
    opens_on: date | None,
    has_email: bool,
    next_on: date | None,
    reached_on: date | None,
    wanted: Wanted | None,
    why: str,
) -> None:
    known = Contacts(next_on, reached_on)
    assert contact_wanted(known, opens_on=opens_on, has_email=has_email, on=ON) == wanted
    # One call, not one for each module: of what is not open yet the first says so.
    later = contact_wanted(known, opens_on=opens_on, has_email=has_email, on=ON, opens_first=False)
    assert later == (wanted if opens_on and opens_on <= ON else None)
