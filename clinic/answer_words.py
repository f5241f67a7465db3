"""The words for a coordinator's answer, and for what a person may do with an operation.

Standings, their reasons and bookings have theirs in `clinic.words`.
"""

from collections.abc import Iterable, Mapping

from clinic.unsettled import Change
from clinic.words import reason_words
from education.rules.confirm import HoldReason, Word
from education.rules.standing import Answer
from education.standings import Told
from patients.models import Booking

WORDS: Mapping[str, str] = {
    Word.CONFIRM: "Confirm",
    Word.HOLD: "Hold",
    Word.CANNOT_TELL: "Cannot tell",
}

HOLD_REASONS: Mapping[str, str] = {
    HoldReason.NOT_CLEARED: "The patient is not cleared",
    HoldReason.NO_DATE: "There is no OR date yet",
    HoldReason.DATE_PASSED: "The OR date has passed",
    HoldReason.NOT_OPEN: "The operation is done or cancelled",
    HoldReason.NOTHING_REQUIRED: "No module is required for this procedure, so nobody can be clear",
}

CHANGES: Mapping[str, str] = {
    Change.DATE_MOVED: "The confirmed date was moved",
    Change.NO_LONGER_CLEAR: "Confirmed, and no longer clear",
}

# What a button does, by the booking that it sets; what cannot be set has no button.
ACTS: Mapping[str, str] = {
    Booking.ON_HOLD: "Put on hold",
    Booking.CANCELLED: "Cancel the operation",
    Booking.DONE: "Mark as done",
}
REVIVE: Mapping[str, str] = {
    Booking.ON_HOLD: "Take off hold",
    Booking.DONE: "Not done after all: propose again",
    Booking.CANCELLED: "Revive: propose again",
}


def act_words(now: str, following: str) -> str:
    """Return what the button says that takes a booking to the one that follows."""
    return REVIVE[now] if following == Booking.PROPOSED else ACTS[following]


def reasons(answer: Answer, told: Told) -> str:
    """Return the reasons of an assignment's standing as one phrase, the weightiest first."""
    return "; ".join(reason_words(reason, told) for reason in answer.reasons)


def holds(reasons: Iterable[str]) -> list[str]:
    """Return why the answer is hold; of an operation that is over nothing else is worth saying."""
    listed = [HoldReason(reason) for reason in reasons]
    said = [HoldReason.NOT_OPEN] if HoldReason.NOT_OPEN in listed else listed
    return [HOLD_REASONS[reason] for reason in said]
