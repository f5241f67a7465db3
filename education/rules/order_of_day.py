"""In which order does the morning list stand?

By what can still be saved: first those whose clear-by date lies ahead, the soonest first, for a
clearance by then needs nobody's leave; then those past it whose operation lies ahead, the soonest
operation first; then what was due after an operation, the longest overdue first; last what has no
date. The same order in SQL: `AssignmentQuerySet.in_order_of_day`.
"""

from datetime import date
from enum import IntEnum


class Chance(IntEnum):
    """What can still be saved, the most first."""

    CLEAR_BY = 1  # the clear-by date: it is today or later
    OPERATION = 2  # the OR date: a late clearance with a clinician's sign-off keeps it
    LEARNING = 3  # what should have been learned after the operation
    NOTHING_DATED = 4


def place(
    *, or_date: date | None, clear_by: date | None, due_before_operation: bool, on: date
) -> tuple[Chance, date]:
    """Return where an assignment stands on the list of the day `on`: the smallest first."""
    if clear_by is None or or_date is None:
        return Chance.NOTHING_DATED, date.max
    if clear_by >= on:
        return Chance.CLEAR_BY, clear_by
    if due_before_operation and or_date >= on:
        return Chance.OPERATION, or_date
    return Chance.LEARNING, clear_by
