"""In which ways is an assignment touched?  One row for each."""

import pytest

from education.rules.requiring import Effect, effects
from education.rules.standing import Answer, Reason, Standing

CLEARED = Answer(Standing.CLEARED, (Reason.QUIZ_PASSED,))
LATE = Answer(Standing.LATE, (Reason.NEVER_INVITED,))
LATE_TOO_OLD = Answer(Standing.LATE, (Reason.CLEARANCE_TOO_OLD, Reason.NEVER_INVITED))
SIGN_OFF = Answer(Standing.NEEDS_SIGN_OFF, (Reason.CLEARED_AFTER_CLEAR_BY,))
DUE = Answer(Standing.DUE, (Reason.NOT_OPENED,))


@pytest.mark.parametrize(
    "now, then, expected, why",
    [
        (None, None, set(), "closed before and after"),
        (None, LATE, {Effect.NEWLY_ASKED, Effect.LATE}, "new, and late from the start"),
        (None, CLEARED, {Effect.NEWLY_ASKED, Effect.CLEARED}, "new, and learned already"),
        (LATE, None, {Effect.NO_LONGER_ASKED}, "the requirement ends"),
        (CLEARED, CLEARED, set(), "stays"),
        (CLEARED, LATE_TOO_OLD, {Effect.LATE, Effect.TOO_OLD}, "the window opens later"),
        (CLEARED, LATE, {Effect.LATE}, "the clearance came after the operation"),
        (CLEARED, SIGN_OFF, {Effect.NEEDS_SIGN_OFF}, "the window closes earlier"),
        (LATE_TOO_OLD, CLEARED, {Effect.CLEARED}, "the window opens earlier"),
        (LATE_TOO_OLD, DUE, {Effect.DUE}, "it never counted, so nothing is lost"),
    ],
)
def test_effects(now: Answer | None, then: Answer | None, expected: set[Effect], why: str) -> None:
    assert effects(now, then) == expected, why
