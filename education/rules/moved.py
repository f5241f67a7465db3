"""What would other dates make of an assignment?  The same facts, asked about them."""

from dataclasses import dataclass, replace
from datetime import date

from education.rules.standing import Answer, Facts, standing
from education.rules.window import Window


@dataclass(frozen=True)
class Moved:
    """The window as it would be (None without a date) and the standing in it."""

    window: Window | None
    answer: Answer


def moved(
    facts: Facts, or_date: date | None, window: Window | None, *, on: date, notice_days: int
) -> Moved:
    """Say what the assignment would be on the day `on`, with this OR date and this window."""
    then = replace(
        facts,
        or_date=or_date,
        opens_on=window.opens_on if window else None,
        clear_by=window.clear_by if window else None,
    )
    return Moved(window, standing(then, on=on, notice_days=notice_days))
