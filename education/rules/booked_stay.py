"""How long is the stay, once going home and the first visit have dates of their own?

Until then they are counted from the OR date and move with it. A booked date stays when the OR date
moves: then it may not fit any more, and somebody has to be asked.
"""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from education.rules.eating_stages import Stay


class StayDoubt(StrEnum):
    """Why a booked date is not counted by; the number of days is, as long as it stands."""

    HOME_BEFORE_OPERATION = "home_before_operation"
    VISIT_NOT_AFTER_HOME = "visit_not_after_home"


@dataclass(frozen=True)
class BookedStay:
    """The stay that the plan counts by, and which booked date it could not count by."""

    stay: Stay
    doubts: tuple[StayDoubt, ...] = ()


def booked_stay(
    usual: Stay, or_date: date | None, *, home_on: date | None, first_visit_on: date | None
) -> BookedStay:
    """Return the stay; `usual` is used where nothing is booked, or what is booked does not fit."""
    if or_date is None:
        return BookedStay(usual)
    doubts = []
    nights, visit = usual.nights, usual.first_visit_days
    if home_on is not None and home_on < or_date:
        doubts.append(StayDoubt.HOME_BEFORE_OPERATION)
    elif home_on is not None:
        nights = (home_on - or_date).days
    if first_visit_on is not None:
        visit = (first_visit_on - or_date).days
    if visit <= nights:
        doubts.append(StayDoubt.VISIT_NOT_AFTER_HOME)
        # Whoever stays longer than planned is seen as many days later as usual.
        visit = nights + max(1, usual.first_visit_days - usual.nights)
    return BookedStay(Stay(nights, visit), tuple(doubts))
