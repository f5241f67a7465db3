"""Between which two days must a module be cleared?"""

from dataclasses import dataclass
from datetime import date, timedelta


@dataclass(frozen=True)
class Window:
    """Both days are the programme's local calendar dates and both belong to the window."""

    opens_on: date
    clear_by: date


def window(or_date: date | None, *, opens_days: int, clear_by_days: int) -> Window | None:
    """Return the window of a requirement: days from the OR date, negative before it.

    None without an OR date. Raises ValueError when the window would close before it opens.
    """
    if clear_by_days < opens_days:
        raise ValueError("a module cannot be due before it opens")
    if or_date is None:
        return None
    return Window(or_date + timedelta(days=opens_days), or_date + timedelta(days=clear_by_days))
