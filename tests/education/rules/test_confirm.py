"""May this OR date be confirmed: one table, a reason on each row."""

from dataclasses import dataclass, field

import pytest

from education.rules.confirm import (
    CANNOT_TELL,
    HoldReason,
    Requirement,
    Verdict,
    Word,
    may_confirm,
)
from education.rules.standing import Answer, Reason, Standing

ANSWERS = {
    Standing.CLEARED: Answer(Standing.CLEARED, (Reason.QUIZ_PASSED,)),
    Standing.NEEDS_SIGN_OFF: Answer(Standing.NEEDS_SIGN_OFF, (Reason.CLEARED_AFTER_CLEAR_BY,)),
    Standing.LATE: Answer(Standing.LATE, (Reason.FAILED,)),
    Standing.DUE: Answer(Standing.DUE, (Reason.NOT_OPENED,)),
    Standing.NOT_DUE: Answer(Standing.NOT_DUE, (Reason.NEVER_INVITED,)),
}


def before(number: int, standing: Standing) -> Requirement:
    """A module that is due before the operation."""
    return Requirement(number, True, ANSWERS[standing])


def after(number: int, standing: Standing) -> Requirement:
    """A module that is due after the operation."""
    return Requirement(number, False, ANSWERS[standing])


CLEARED = before(1, Standing.CLEARED)
WAIVED = Requirement(2, True, Answer(Standing.CLEARED, (Reason.WAIVED,)))
H = HoldReason


@dataclass(frozen=True)
class Row:
    """What an operation needs and is; what the coordinator must read."""

    why: str
    requirements: list[Requirement]
    word: Word
    reasons: tuple[HoldReason, ...] = ()
    holding: tuple[int, ...] = ()
    state: dict[str, bool] = field(default_factory=dict)


ROWS = [
    Row("everything cleared", [CLEARED], Word.CONFIRM),
    Row("cleared and waived", [CLEARED, WAIVED], Word.CONFIRM),
    Row(
        "what comes after the operation does not hold it up",
        [CLEARED, after(3, Standing.NOT_DUE)],
        Word.CONFIRM,
    ),
    Row(
        "one of two is missing",
        [CLEARED, before(4, Standing.LATE)],
        Word.HOLD,
        (H.NOT_CLEARED,),
        (4,),
    ),
    Row(
        "a sign-off is missing",
        [before(4, Standing.NEEDS_SIGN_OFF)],
        Word.HOLD,
        (H.NOT_CLEARED,),
        (4,),
    ),
    Row("due is not cleared", [before(4, Standing.DUE)], Word.HOLD, (H.NOT_CLEARED,), (4,)),
    Row(
        "not due is not cleared either",
        [before(4, Standing.NOT_DUE), before(5, Standing.NOT_DUE)],
        Word.HOLD,
        (H.NOT_CLEARED,),
        (4, 5),
    ),
    Row("nothing is required: silence is not clearance", [], Word.HOLD, (H.NOTHING_REQUIRED,)),
    Row(
        "nothing is required before it",
        [after(3, Standing.CLEARED)],
        Word.HOLD,
        (H.NOTHING_REQUIRED,),
    ),
    Row("no date", [CLEARED], Word.HOLD, (H.NO_DATE,), state={"has_date": False}),
    Row("its date is over", [CLEARED], Word.HOLD, (H.DATE_PASSED,), state={"date_passed": True}),
    Row("cancelled or done", [CLEARED], Word.HOLD, (H.NOT_OPEN,), state={"is_open": False}),
    Row("it needs nothing any more then", [], Word.HOLD, (H.NOT_OPEN,), state={"is_open": False}),
    Row(
        "every reason is named, not the first only",
        [before(4, Standing.LATE)],
        Word.HOLD,
        (H.NOT_OPEN, H.NO_DATE, H.NOT_CLEARED),
        (4,),
        {"is_open": False, "has_date": False},
    ),
]


@pytest.mark.parametrize("row", ROWS, ids=[row.why for row in ROWS])
def test_may_confirm(row: Row) -> None:
    state = {"has_date": True, "date_passed": False, "is_open": True, **row.state}
    verdict = may_confirm(row.requirements, **state)
    assert verdict == Verdict(row.word, row.reasons, row.holding)


def test_every_hold_reason_has_a_row() -> None:
    assert {reason for row in ROWS for reason in row.reasons} == set(HoldReason)


def test_cannot_tell_is_neither_confirm_nor_hold() -> None:
    assert CANNOT_TELL.word == Word.CANNOT_TELL
