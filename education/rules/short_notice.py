"""Would an OR date leave the patient less time than the modules need?"""

from collections.abc import Iterable
from datetime import date, timedelta
from enum import StrEnum

from education.rules.window import Window


class Notice(StrEnum):
    """Why a new date is on short notice, the gravest first."""

    DAY_PASSED = "day_passed"
    CLEAR_BY_PASSED = "clear_by_passed"
    INSIDE_NOTICE = "inside_notice"


def short_notice(
    or_date: date | None, windows: Iterable[Window], *, on: date, notice_days: int
) -> Notice | None:
    """Return the gravest reason why the date is on short notice on the day `on`, None for enough.

    `windows`: those of the modules that are due before the operation. `notice_days`: how long
    before the clear-by date the programme wants to be warned.
    """
    if or_date is None:
        return None
    if or_date < on:
        return Notice.DAY_PASSED
    clear_by = min((window.clear_by for window in windows), default=None)
    if clear_by is None:
        return None
    if clear_by < on:
        return Notice.CLEAR_BY_PASSED
    if clear_by - timedelta(days=notice_days) <= on:
        return Notice.INSIDE_NOTICE
    return None
