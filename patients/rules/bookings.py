"""Which booking may follow which?  Confirming has a rule of its own and is not among these."""

from collections.abc import Mapping
from datetime import date
from types import MappingProxyType

PROPOSED, CONFIRMED, ON_HOLD, DONE, CANCELLED = (
    "proposed",
    "confirmed",
    "on_hold",
    "done",
    "cancelled",
)

# What was called done or cancelled by mistake can be revived; it has to be confirmed anew.
FOLLOWING: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        PROPOSED: (ON_HOLD, DONE, CANCELLED),
        CONFIRMED: (ON_HOLD, DONE, CANCELLED),
        ON_HOLD: (PROPOSED, DONE, CANCELLED),
        DONE: (PROPOSED,),
        CANCELLED: (PROPOSED,),
    }
)


def may_follow(booking: str, *, or_date: date | None, on: date) -> tuple[str, ...]:
    """Return the bookings that a person may set now; nothing is done before its day came."""
    came = or_date is not None and or_date <= on
    return tuple(next_one for next_one in FOLLOWING[booking] if next_one != DONE or came)
