"""What would a moved OR date make of an assignment?  The same facts, asked about other dates."""

from dataclasses import dataclass, replace
from datetime import date

from education.rules.standing import Answer, Facts, standing
from education.rules.window import Window, window


@dataclass(frozen=True)
class Moved:
    """The window that the new OR date gives (None without a date) and the standing in it."""

    window: Window | None
    answer: Answer


def moved(
    facts: Facts,
    or_date: date | None,
    *,
    opens_days: int,
    clear_by_days: int,
    on: date,
    notice_days: int,
) -> Moved:
    """Say what the assignment would be on the day `on`, if the operation were on `or_date`.

    `opens_days`, `clear_by_days`: the requirement's offsets in days from the OR date.
    """
    days = window(or_date, opens_days=opens_days, clear_by_days=clear_by_days)
    then = replace(
        facts,
        or_date=or_date,
        opens_on=days.opens_on if days else None,
        clear_by=days.clear_by if days else None,
    )
    return Moved(days, standing(then, on=on, notice_days=notice_days))
