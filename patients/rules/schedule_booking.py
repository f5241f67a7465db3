"""Which booking does an operation have after a schedule spoke of it?

The schedule says when an operation is planned, held, done or cancelled. Two things it does not
decide: it never confirms (that is the coordinator's decision, on this programme's facts), and it
never takes back a hold, a cancellation or a "done" that a person recorded here.
"""

from datetime import date

from patients.rules.schedule_known import (
    CANCELLED,
    CONFIRMED,
    DONE,
    ON_HOLD,
    PROPOSED,
    KnownOperation,
)
from patients.rules.schedule_reasons import Notice, Problem, Reason, Said
from patients.rules.schedule_rows import Plan

PLAIN = {
    Plan.SCHEDULED: PROPOSED,
    Plan.ON_HOLD: ON_HOLD,
    Plan.DONE: DONE,
    Plan.CANCELLED: CANCELLED,
}


def booking_after(
    plan: Plan | None, known: KnownOperation | None, or_date: date | None, *, on: date
) -> tuple[str, Said | None] | Problem:
    """Return the booking and what to say about it, or why the row cannot be right.

    `or_date` is the OR date the operation would have; `known` is None for a new one.
    """
    if plan == Plan.DONE and or_date is None:
        return Problem(Reason.DONE_WITHOUT_DATE)
    if plan == Plan.DONE and or_date is not None and or_date > on:
        return Problem(Reason.DONE_IN_FUTURE)
    if known is None:
        return PLAIN[plan or Plan.SCHEDULED], None
    if plan is None or PLAIN[plan] == known.booking:
        return _after_move(known, or_date)
    if known.booking in (DONE, CANCELLED) and not known.booked_by_file:
        return _closed_here(plan, known, or_date)
    if plan != Plan.SCHEDULED:
        ends = known.booking == CONFIRMED and plan != Plan.DONE
        return PLAIN[plan], Said(Notice.CONFIRMATION_LOST) if ends else None
    if known.booking == CONFIRMED:
        return _after_move(known, or_date)
    if known.booking == ON_HOLD and not known.booked_by_file:
        return ON_HOLD, Said(Notice.STAYS_ON_HOLD)
    return PROPOSED, None if known.booking == PROPOSED else Said(Notice.REVIVED)


def _after_move(known: KnownOperation, or_date: date | None) -> tuple[str, Said | None]:
    """What was confirmed was the other date (patients.schedule.change does the same)."""
    if known.booking == CONFIRMED and or_date != known.or_date:
        return PROPOSED, Said(Notice.CONFIRMATION_LOST)
    return known.booking, None


def _closed_here(
    plan: Plan, known: KnownOperation, or_date: date | None
) -> tuple[str, Said | None] | Problem:
    """An export that still says "scheduled" for the same day is only behind; more contradicts."""
    done = known.booking == DONE
    if plan != Plan.SCHEDULED or or_date != known.or_date:
        return Problem(Reason.DONE_HERE if done else Reason.CANCELLED_HERE)
    return known.booking, Said(Notice.STAYS_DONE if done else Notice.STAYS_CANCELLED)
