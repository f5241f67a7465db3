"""Who plays which part: read this table to find the patient who shows what you want to see."""

from dataclasses import dataclass
from datetime import date

from clinic.demo.calls import LoggedWrongly, NeedsVisit, NotYet, SaidItBack
from clinic.demo.events import (
    AFTER,
    BEFORE,
    Began,
    Called,
    Confirmed,
    Event,
    Invited,
    Matched,
    Postponed,
    Rebooked,
    SaidToBeTwo,
    SignedOff,
    Took,
    Typed,
    Undone,
    Waived,
    WasCalled,
)
from clinic.demo.mailbox import CameBack, WroteBack
from clinic.demo.other_ways import PrintedSheet, SheetCameBack, TookByPhone, TookOnScreen
from education.rules.standing import Reason, Standing
from patients.models import Booking, Outcome


@dataclass(frozen=True)
class Part:
    """One thing that happens in real life, the patient it happens to, and how it came about.

    `standing` and `reason` (the weightiest) are what the patient's module is on the demo's day;
    without a standing the assignment is closed.
    """

    part: str
    mrn: str
    standing: Standing | None
    reason: Reason | None
    how: tuple[Event, ...] = ()
    module: str = BEFORE


def at_home(invited: int) -> tuple[Event, ...]:
    """The other module, learned without trouble two days after the link went out."""
    return Invited(invited, AFTER), Took(invited - 2, AFTER)


def both_unopened(invited: int, *, refused: bool = False) -> tuple[Event, ...]:
    """Both links went out and nothing came of it."""
    return Invited(invited, BEFORE, refused), Invited(invited, AFTER, refused)


CLEARED, LATE, DUE, NOT_DUE = Standing.CLEARED, Standing.LATE, Standing.DUE, Standing.NOT_DUE
NEEDS_SIGN_OFF = Standing.NEEDS_SIGN_OFF
MARRIED_NAME = Typed("Saoirse", "Lindgren", date(1986, 4, 14))
STRANGER = Typed("Yvette", "Rosselin-Marsh", date(1983, 7, 19))
SHORT_NAME = Typed("Luc", "Tshibanda", date(1979, 4, 3))

# fmt: off
STORY = (
    Part("cleared in time", "TF-30101", CLEARED, Reason.QUIZ_PASSED,
         (Invited(34), Took(30), *at_home(34))),
    Part("cleared late, needs sign-off", "TF-30102", NEEDS_SIGN_OFF, Reason.CLEARED_AFTER_CLEAR_BY,
         (Invited(25), Called(3, Outcome.REACHED, "Will take the quiz tonight."), Took(2),
          *at_home(25))),
    Part("cleared late and signed off", "TF-30103", CLEARED, Reason.LATE_BUT_SIGNED_OFF,
         (Invited(24), Took(3), SignedOff(2, "Started the liquids on the right day."),
          *at_home(24))),
    Part("late, never invited", "TF-30104", LATE, Reason.NEVER_INVITED),
    Part("late, invited, not opened", "TF-30105", LATE, Reason.NOT_OPENED,
         (*both_unopened(18), LoggedWrongly(3, "Her sister answered; she was not at home."),
          WroteBack(1, "I work nights and have not got round to it.\nCould somebody ring me?"))),
    Part("due", "TF-30106", DUE, Reason.NOT_OPENED, (Invited(9), *at_home(9))),
    Part("opened and not finished", "TF-30107", DUE, Reason.NOT_FINISHED,
         (Invited(12), Began(5, answers=3), *at_home(12))),
    Part("failed once", "TF-30108", DUE, Reason.FAILED,
         (Invited(14), Took(6, wrong=("why-liquids", "bottles", "road")), *at_home(14))),
    Part("failed twice, needs a visit", "TF-30109", LATE, Reason.NEEDS_VISIT,
         (Invited(20), Took(12, wrong=("why-liquids", "who-calls", "bottles")),
          Took(7, wrong=("who-calls", "small-bite", "road")), *at_home(20),
          NeedsVisit(3, "Is not sure, and asks his wife.", 1, "Comes in with his wife."))),
    Part("attempts used up, needs teach-back", "TF-30110", DUE, Reason.NEEDS_TEACH_BACK,
         (Invited(21), Took(15, wrong=("insulin", "bottles", "date-moves")),
          Took(11, wrong=("who-calls", "bottles", "road")),
          Took(6, wrong=("who-calls", "small-bite", "road")),
          *at_home(21))),
    Part("the same safety question wrong twice", "TF-30111", LATE, Reason.NEEDS_TEACH_BACK,
         (Invited(16), Took(9, wrong=("stop-time",)), Took(5, wrong=("stop-time", "bottles")),
          *at_home(16),
          NotYet(2, "When my sister had to stop, I think.", "Four bottles, in sips.", 0,
                 "Reads the paper of the surgical team once more."))),
    Part("cleared by teach-back", "TF-30112", CLEARED, Reason.TEACH_BACK_SEEN,
         (Invited(22), Took(17, wrong=("insulin", "bottles")), Took(13, wrong=("insulin",)),
          SaidItBack(10, "Says when to call about insulin, and waits for the answer."),
          *at_home(22))),
    Part("waived", "TF-30113", CLEARED, Reason.WAIVED,
         (Invited(20), Waived(6, "Taught on the ward this week; liquids are given there."),
          *at_home(20))),
    Part("date moved after clearing", "TF-30114", DUE, Reason.CLEARANCE_TOO_OLD,
         (Invited(82), Took(75), Invited(60, AFTER), Took(57, AFTER))),
    Part("cancelled", "TF-30115", None, None, (Invited(31), Took(26))),
    Part("postponed without a date", "TF-30116", NOT_DUE, Reason.NO_DATE,
         (Invited(28), Postponed(6, "Waits for the heart doctor's word."))),
    Part("no email", "TF-30117", DUE, Reason.NEVER_INVITED, (Called(4, Outcome.NO_ANSWER),)),
    Part("no email, taught by telephone", "TF-30135", CLEARED, Reason.TEACH_BACK_SEEN,
         (Called(8, Outcome.REACHED, "Went through both modules together."),
          SaidItBack(8, "All points in her own words."),
          SaidItBack(8, "Names all warning signs.", AFTER))),
    Part("twin, quiz sent in", "TF-30118", DUE, Reason.IDENTITY_UNDECIDED,
         (Invited(11), Took(6), *at_home(9),
          SaidToBeTwo(8, "TF-30119", "Twin sisters: both sat here on Monday."))),
    Part("twin, not opened; the email came back", "TF-30119", NOT_DUE, Reason.NOT_OPENED,
         (Invited(20), CameBack(20))),
    Part("namesake, the older one", "TF-30120", CLEARED, Reason.QUIZ_PASSED,
         (Invited(19), Took(13), *at_home(19))),
    Part("namesake, the younger one", "TF-30121", DUE, Reason.NOT_OPENED,
         (Invited(12), *at_home(12))),
    Part("quiz sent in under a married name", "TF-30122", DUE, Reason.IDENTITY_UNDECIDED,
         (Invited(15), Took(3, typed=MARRIED_NAME), *at_home(15))),
    Part("quiz from someone not on the schedule", "TF-30123", DUE, Reason.IDENTITY_UNDECIDED,
         (Invited(13), Took(2, typed=STRANGER))),
    Part("shared address, cleared", "TF-30124", CLEARED, Reason.QUIZ_PASSED,
         (Invited(17), Took(12), *at_home(17))),
    Part("shared address, not opened", "TF-30125", DUE, Reason.NOT_OPENED,
         (*both_unopened(17), PrintedSheet(3))),
    Part("took the quiz on paper", "TF-30148", CLEARED, Reason.QUIZ_PASSED,
         (PrintedSheet(20), SheetCameBack(17, filled_in=18, wrong=("bottles",)), *at_home(16))),
    Part("took the quiz in the waiting room", "TF-30150", CLEARED, Reason.QUIZ_PASSED,
         (TookOnScreen(15), *at_home(16))),
    Part("took the quiz by phone", "TF-30151", CLEARED, Reason.QUIZ_PASSED,
         (Called(14, Outcome.NO_ANSWER), TookByPhone(12), *at_home(18))),
    Part("mail refused", "TF-30126", DUE, Reason.NOT_OPENED, both_unopened(10, refused=True)),
    Part("wrong match undone, the sender", "TF-30127", CLEARED, Reason.QUIZ_PASSED,
         (Invited(14), Took(7, typed=SHORT_NAME),
          Matched(6, "TF-30128", "Luc for Lucie, I think."),
          Undone(5, "It was her brother's: he rang about it."),
          Matched(4, "TF-30127", "Goes by Luc; date of birth agrees."))),
    Part("wrong match undone, the other", "TF-30128", LATE, Reason.NOT_OPENED,
         (Invited(19), *at_home(19))),
    Part("confirmed, then no longer clear", "TF-30129", LATE, Reason.IDENTITY_UNDECIDED,
         (Invited(28), Took(25), *at_home(28), Confirmed(10),
          Called(2, Outcome.REACHED, "Her daughter filled in the quiz."),
          Undone(1, "Her daughter took the quiz, by her own word."))),
    Part("confirmed against a hold", "TF-30130", LATE, Reason.FAILED,
         (Invited(24), Took(12, wrong=("date-moves", "bottles", "road")), *at_home(24),
          Confirmed(2, against_hold="The ulcer cannot wait; taught in person tomorrow."))),
    Part("left a message twice", "TF-30131", LATE, Reason.NOT_OPENED,
         (*both_unopened(21), Called(8, Outcome.NO_ANSWER), Called(5, Outcome.LEFT_A_MESSAGE),
          Called(2, Outcome.LEFT_A_MESSAGE, "Asked to ring back before Friday."))),
    Part("date passed, still open", "TF-30132", CLEARED, Reason.QUIZ_PASSED,
         (Invited(40), Took(36), *at_home(40), Confirmed(9))),
    Part("on hold", "TF-30133", NOT_DUE, Reason.NOT_OPENED,
         (Invited(25), Rebooked(5, Booking.ON_HOLD, "Insurance asks for another letter."))),
    Part("date moved forward, suddenly late", "TF-30134", LATE, Reason.NOT_OPENED,
         both_unopened(40)),
    Part("entered a second time", "TF-30165", NOT_DUE, Reason.NOT_OPENED, (Invited(2),)),
    Part("has a former name", "TF-30155", NOT_DUE, Reason.NOT_OPENED,
         (Invited(29), WasCalled(20, "Zoë", "Quarshie-Lund", "Told us on the phone: married."))),
)
# fmt: on

PART_OF = {part.mrn: part for part in STORY}
