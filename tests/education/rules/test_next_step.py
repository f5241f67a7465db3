"""What the dietitian does next: one table, a reason on each row."""

import pytest

from education.rules.next_step import NextStep, Reach, next_step
from education.rules.standing import Answer, Reason, Standing

R, S, N = Reason, Standing, NextStep
MAIL = Reach(has_email=True)
NO_MAIL = Reach(has_email=False)
LINK = Reach(has_email=True, reachable_link=True)
WAITING = Reach(has_email=True, mail_waiting=True, reachable_link=True)
FAILED = Reach(has_email=True, mail_failed=True, reachable_link=True)

# standing, reasons, reach, next step, why
ROWS = [
    (S.LATE, (R.NEVER_INVITED,), MAIL, N.SEND_LINK, "has an address, got no link"),
    (S.DUE, (R.NOT_OPENED,), LINK, N.SEND_LINK_AGAIN, "has a link, did not open it"),
    (S.DUE, (R.NOT_OPENED,), MAIL, N.SEND_LINK, "the link is dead"),
    (S.LATE, (R.NOT_FINISHED,), LINK, N.SEND_LINK_AGAIN, "began, did not finish"),
    (S.LATE, (R.FAILED,), LINK, N.SEND_LINK_AGAIN, "failed, may try again"),
    (S.DUE, (R.NOT_OPENED,), WAITING, N.WAIT_FOR_MAIL, "the email has not gone out yet"),
    (S.LATE, (R.NEVER_INVITED,), NO_MAIL, N.CALL, "no address: nobody is mailed"),
    (S.LATE, (R.NOT_OPENED,), FAILED, N.CALL, "the email came back"),
    (S.LATE, (R.FAILED,), NO_MAIL, N.CALL, "failed, and no address"),
    (S.DUE, (R.NEEDS_TEACH_BACK,), LINK, N.CALL_SHEET, "a person must take over"),
    (S.DUE, (R.NEEDS_TEACH_BACK,), NO_MAIL, N.CALL_SHEET, "by telephone, address or not"),
    (S.LATE, (R.IDENTITY_UNDECIDED,), FAILED, N.DECIDE_IDENTITY, "the quiz is here already"),
    (S.NEEDS_SIGN_OFF, (R.CLEARED_AFTER_CLEAR_BY, R.QUIZ_PASSED), LINK, N.SIGN_OFF, "sign off"),
    (S.NEEDS_SIGN_OFF, (R.CLEARED_AFTER_CLEAR_BY, R.QUIZ_PASSED), NO_MAIL, N.SIGN_OFF, "always"),
    (
        S.NEEDS_SIGN_OFF,
        (R.SIGN_OFF_WAITS_FOR_SECOND, R.CLEARED_AFTER_CLEAR_BY, R.QUIZ_PASSED),
        LINK,
        N.SECOND_CLINICIAN,
        "signed off once, and two are wanted",
    ),
    (
        S.LATE,
        (R.WAIVER_WAITS_FOR_SECOND, R.NEVER_INVITED),
        MAIL,
        N.SECOND_CLINICIAN,
        "waived once: a link may be needless",
    ),
    (S.LATE, (R.CLEARANCE_TOO_OLD, R.NEVER_INVITED), MAIL, N.SEND_LINK, "once more, for the date"),
    (S.LATE, (R.EDITION_SUPERSEDED, R.FAILED), LINK, N.SEND_LINK_AGAIN, "the new edition"),
    (S.CLEARED, (R.QUIZ_PASSED,), LINK, N.NOTHING, "cleared"),
    (S.CLEARED, (R.WAIVED,), NO_MAIL, N.NOTHING, "waived"),
    (S.NOT_DUE, (R.NO_DATE, R.NEVER_INVITED), MAIL, N.NOTHING, "no date: nothing to hurry for"),
    (S.NOT_DUE, (R.NEVER_INVITED,), MAIL, N.SEND_LINK, "early is allowed"),
]


@pytest.mark.parametrize("standing, reasons, reach, step, why", ROWS, ids=[r[4] for r in ROWS])
def test_next_step(
    standing: Standing, reasons: tuple[Reason, ...], reach: Reach, step: NextStep, why: str
) -> None:
    assert next_step(Answer(standing, reasons), reach) == step


def test_every_step_has_a_row() -> None:
    assert {row[3] for row in ROWS} == set(NextStep)
