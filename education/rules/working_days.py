"""On which days does the programme work, and which is the last one up to a day?"""

from dataclasses import dataclass
from datetime import date, timedelta

import holidays

DAY = timedelta(days=1)
SATURDAY = 5
# Longer than any run of closed days that could be meant; beyond it the list is a mistake.
LONGEST_CLOSED = 60


@dataclass(frozen=True)
class WorkingDays:
    """Monday to Friday, but for the days on which the programme is closed."""

    closed: frozenset[date] = frozenset()

    def is_one(self, day: date) -> bool:
        """Whether the programme works on this day."""
        return day.weekday() < SATURDAY and day not in self.closed

    def last_up_to(self, day: date) -> date:
        """Return the day itself if it is a working day, else the last one before it.

        Where 60 days and more are closed without a gap it is the day itself.
        """
        for back in range(LONGEST_CLOSED):
            if self.is_one(day - back * DAY):
                return day - back * DAY
        return day


def federal_holidays(first: date, last: date) -> dict[date, str]:
    """Return the US federal holidays of a period, by the day on which they are kept.

    5 U.S.C. 6103 and Executive Order 11582: one that falls on a Saturday is kept on the Friday
    before it, on a Sunday on the Monday after. The Saturday or Sunday itself is in it too.
    """
    years = range(first.year, last.year + 1)
    kept = holidays.country_holidays("US", years=years)
    return {day: name for day, name in sorted(kept.items()) if first <= day <= last}
