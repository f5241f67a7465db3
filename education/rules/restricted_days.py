"""How long is a patient on the diet before the operation, over every OR date that was on record?

A moved date can silently double the diet (standards DAT-5), and a date that moves by two days while
the diet runs must not make its first days look missed. So both are counted from the dates as they
were on record: a day is a day of the diet if it lay before the OR date of that day, by no more days
than the stages ask for, and the patient had the plan.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

DAY = timedelta(days=1)


@dataclass(frozen=True)
class Dated:
    """An OR date and the local day from which it was on record; None: no date, or cancelled."""

    since: date
    or_date: date | None


@dataclass(frozen=True)
class Followed:
    """`since`: the first day of an unbroken run of the diet that leads to the date of now, else the
    day on which this date, or the first copy, came. `before`: the days of the diet under earlier
    dates, in order.
    """

    since: date
    before: tuple[date, ...] = ()


def followed(history: Sequence[Dated], *, needed: int, given_on: date) -> Followed:
    """Return what the patient followed before the latest date of `history` (the oldest first).

    `needed`: days of the diet before an OR date. `given_on`: when the patient first got the plan.
    """
    if not history:
        return Followed(given_on)
    came = max(history[-1].since, given_on)
    earlier: set[date] = set()
    for dated, following in pairwise(history):
        if dated.or_date is not None:
            first = max(dated.since, given_on, dated.or_date - needed * DAY)
            end = min(following.since, dated.or_date)
            earlier |= {first + n * DAY for n in range((end - first).days)}
    since = came
    while since - DAY in earlier:
        since -= DAY
    return Followed(since, tuple(sorted(earlier)))
