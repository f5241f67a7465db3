"""May this OR date be confirmed?"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from education.rules.standing import Answer, Standing


class Word(StrEnum):
    CONFIRM = "confirm"
    HOLD = "hold"
    CANNOT_TELL = "cannot_tell"


class HoldReason(StrEnum):
    NOT_CLEARED = "not_cleared"
    NO_DATE = "no_date"
    DATE_PASSED = "date_passed"
    NOT_OPEN = "not_open"
    NOTHING_REQUIRED = "nothing_required"


@dataclass(frozen=True)
class Requirement:
    """One module that this operation needs, with its standing on the day asked."""

    assignment_id: int
    due_before_operation: bool
    answer: Answer


@dataclass(frozen=True)
class Verdict:
    """One word, with the reasons that stand against confirming and the assignments behind them."""

    word: Word
    reasons: tuple[HoldReason, ...]
    holding: tuple[int, ...] = ()


CANNOT_TELL = Verdict(Word.CANNOT_TELL, ())


def may_confirm(
    requirements: Iterable[Requirement], *, has_date: bool, date_passed: bool, is_open: bool
) -> Verdict:
    """Say confirm or hold for one operation.

    Confirm when every requirement that is due before the operation is cleared. An operation for
    whose procedure nothing is required holds too: nobody has said what it needs, and silence is
    not clearance. Of one that is over or cancelled nothing is required any more.
    """
    listed = [r for r in requirements if r.due_before_operation]
    holding = tuple(r.assignment_id for r in listed if r.answer.standing != Standing.CLEARED)
    reasons = []
    if not is_open:
        reasons.append(HoldReason.NOT_OPEN)
    if not has_date:
        reasons.append(HoldReason.NO_DATE)
    if date_passed:
        reasons.append(HoldReason.DATE_PASSED)
    if not listed and is_open:
        reasons.append(HoldReason.NOTHING_REQUIRED)
    if holding:
        reasons.append(HoldReason.NOT_CLEARED)
    return Verdict(Word.HOLD if reasons else Word.CONFIRM, tuple(reasons), holding)
