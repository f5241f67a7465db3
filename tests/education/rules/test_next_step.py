"""What the dietitian does next: one table, a reason on each row."""

from dataclasses import replace
from datetime import date

import pytest

from education.rules.contact_wanted import Contacts
from education.rules.next_step import NextStep, Reach, next_step
from education.rules.standing import Answer, Reason, Standing

R, S, N = Reason, Standing, NextStep
ON = date(2026, 3, 10)
OPEN = date(2026, 3, 1)
TOMORROW, YESTERDAY = date(2026, 3, 11), date(2026, 3, 9)


def agreed(reach: Reach, next_on: date) -> Reach:
    return replace(reach, opens_on=OPEN, contacts=Contacts(next_on=next_on))


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
    (S.NOT_DUE, (R.NEVER_INVITED,), replace(NO_MAIL, opens_on=OPEN), N.CALL, "open: by phone"),
    (S.NOT_DUE, (R.NEVER_INVITED,), replace(NO_MAIL, opens_on=ON), N.CALL, "it opens today"),
    (
        S.NOT_DUE,
        (R.NEVER_INVITED,),
        replace(NO_MAIL, opens_on=TOMORROW),
        N.WAIT_FOR_WINDOW,
        "nobody is called before the module opens",
    ),
    (S.DUE, (R.NOT_OPENED,), agreed(LINK, ON), N.CALL_TODAY, "the day that was agreed"),
    (S.LATE, (R.NOT_OPENED,), agreed(NO_MAIL, YESTERDAY), N.CALL_TODAY, "it was missed"),
    (
        S.NOT_DUE,
        (R.NEVER_INVITED,),
        replace(agreed(NO_MAIL, ON), opens_on=TOMORROW),
        N.CALL_TODAY,
        "agreed before the OR date moved on, and the window with it",
    ),
    (S.NOT_DUE, (R.NO_DATE,), replace(agreed(MAIL, ON), opens_on=None), N.CALL_TODAY, "no date"),
    (S.DUE, (R.NOT_OPENED,), agreed(LINK, TOMORROW), N.SEND_LINK_AGAIN, "a link may go meanwhile"),
    (S.DUE, (R.FAILED,), agreed(NO_MAIL, TOMORROW), N.WAIT_FOR_CONTACT, "a day is agreed"),
    (S.DUE, (R.NEEDS_TEACH_BACK,), agreed(LINK, TOMORROW), N.WAIT_FOR_CONTACT, "not yet: then"),
    (S.DUE, (R.NEEDS_TEACH_BACK,), agreed(LINK, ON), N.CALL_SHEET, "go on with the teach-back"),
    (S.DUE, (R.NEEDS_VISIT,), agreed(LINK, TOMORROW), N.VISIT, "to be seen, whatever the day"),
    (
        S.LATE,
        (R.NEEDS_TEACH_BACK,),
        replace(NO_MAIL, escalated=True),
        N.SURGEONS_OFFICE,
        "two messages, no answer: the surgeon's office helps",
    ),
    (
        S.LATE,
        (R.IDENTITY_UNDECIDED,),
        replace(MAIL, escalated=True),
        N.DECIDE_IDENTITY,
        "somebody answered: whose quiz is it",
    ),
]


@pytest.mark.parametrize("standing, reasons, reach, step, why", ROWS, ids=[r[4] for r in ROWS])
def test_next_step(
    standing: Standing, reasons: tuple[Reason, ...], reach: Reach, step: NextStep, why: str
) -> None:
    assert next_step(Answer(standing, reasons), reach, on=ON) == step


def test_every_step_has_a_row() -> None:
    assert {row[3] for row in ROWS} == set(NextStep)
