"""What an assignment is on a day, clause by clause: one table, a reason on each row."""

from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import pytest

from education.rules.standing import (
    FLAGGED,
    Answer,
    ClearanceFact,
    Evidence,
    Facts,
    Progress,
    Reason,
    Standing,
    standing,
)

# Unless a row says otherwise: operation on Tuesday 10 March 2026, the module open from 10 February
# (28 days before) to 3 March (7 days before), and the programme wants 10 days' notice.
OR_DATE = date(2026, 3, 10)
OPENS = date(2026, 2, 10)
CLEAR_BY = date(2026, 3, 3)
NOTICE = 10
QUIZ, TEACH_BACK = Evidence.QUIZ, Evidence.TEACH_BACK
CLEARED, NEEDS_SIGN_OFF = Standing.CLEARED, Standing.NEEDS_SIGN_OFF
LATE, DUE, NOT_DUE = Standing.LATE, Standing.DUE, Standing.NOT_DUE

FACTS = Facts(OR_DATE, OPENS, CLEAR_BY)


def quiz(month: int, day: int, year: int = 2026) -> ClearanceFact:
    """A clearance by quiz on a day."""
    return ClearanceFact(date(year, month, day), QUIZ)


def teach_back(month: int, day: int) -> ClearanceFact:
    """A clearance by teach-back on a day of 2026."""
    return ClearanceFact(date(2026, month, day), TEACH_BACK)


def signed(clearance: ClearanceFact) -> ClearanceFact:
    """The same, signed off by a clinician."""
    return replace(clearance, signed_off=True)


def half_signed(clearance: ClearanceFact) -> ClearanceFact:
    """The same, signed off by one clinician where two are wanted."""
    return replace(clearance, awaits_second=True)


def half_waived(*clearances: ClearanceFact) -> Facts:
    """The usual dates with these clearances, waived by one clinician where two are wanted."""
    return replace(cleared(*clearances), waiver_awaits_second=True)


def superseded(clearance: ClearanceFact) -> ClearanceFact:
    """The same, on an edition that counts no more."""
    return replace(clearance, counts=False)


def cleared(*clearances: ClearanceFact) -> Facts:
    """The usual dates with these clearances."""
    return replace(FACTS, clearances=clearances)


def so_far(**progress: bool) -> Facts:
    """The usual dates, nothing cleared, and how far the patient came."""
    return replace(FACTS, progress=Progress(**progress))


def dated(opens: date | None, clear_by: date | None, operation: date | None) -> Facts:
    """Other dates, nothing cleared."""
    return Facts(operation, opens, clear_by)


@dataclass(frozen=True)
class Row:
    """Facts, the day asked about, and the answer that is right."""

    why: str
    facts: Facts
    on: date
    standing: Standing
    reasons: tuple[Reason, ...]
    notice: int = field(default=NOTICE)


R = Reason
NEVER = (R.NEVER_INVITED,)
FEB_29 = date(2028, 2, 29)
AFTER_OPERATION = dated(date(2026, 3, 11), date(2026, 3, 24), OR_DATE)

ROWS = [
    # --- cleared: within opens_on..clear_by
    Row(
        "a quiz passed inside the window", cleared(quiz(2, 20)), CLEAR_BY, CLEARED, (R.QUIZ_PASSED,)
    ),
    Row(
        "a teach-back seen inside the window",
        cleared(teach_back(2, 20)),
        CLEAR_BY,
        CLEARED,
        (R.TEACH_BACK_SEEN,),
    ),
    Row("on the day it opens: inclusive", cleared(quiz(2, 10)), OPENS, CLEARED, (R.QUIZ_PASSED,)),
    Row(
        "on the clear-by day itself: inclusive",
        cleared(quiz(3, 3)),
        CLEAR_BY,
        CLEARED,
        (R.QUIZ_PASSED,),
    ),
    Row(
        "once cleared it stays so after the clear-by date",
        cleared(quiz(2, 20)),
        date(2026, 3, 9),
        CLEARED,
        (R.QUIZ_PASSED,),
    ),
    Row(
        "and after the operation",
        cleared(quiz(2, 20)),
        date(2026, 4, 1),
        CLEARED,
        (R.QUIZ_PASSED,),
    ),
    Row(
        "a second one, too late, takes nothing away",
        cleared(quiz(2, 20), quiz(3, 5)),
        date(2026, 3, 6),
        CLEARED,
        (R.QUIZ_PASSED,),
    ),
    Row(
        "a first one, too old, takes nothing away",
        cleared(quiz(1, 5), teach_back(2, 20)),
        CLEAR_BY,
        CLEARED,
        (R.TEACH_BACK_SEEN,),
    ),
    Row(
        "a failed quiz before it does not matter any more",
        replace(cleared(teach_back(2, 25)), progress=Progress(True, True, True, True)),
        date(2026, 2, 26),
        CLEARED,
        (R.TEACH_BACK_SEEN,),
    ),
    Row(
        "one on a superseded edition beside one that counts",
        cleared(superseded(quiz(2, 11)), teach_back(2, 12)),
        date(2026, 2, 13),
        CLEARED,
        (R.TEACH_BACK_SEEN,),
    ),
    # --- cleared: after clear_by, up to the OR date, and signed off
    Row(
        "one day late and signed off",
        cleared(signed(quiz(3, 4))),
        date(2026, 3, 5),
        CLEARED,
        (R.LATE_BUT_SIGNED_OFF, R.QUIZ_PASSED),
    ),
    Row(
        "on the OR date itself and signed off",
        cleared(signed(teach_back(3, 10))),
        OR_DATE,
        CLEARED,
        (R.LATE_BUT_SIGNED_OFF, R.TEACH_BACK_SEEN),
    ),
    Row(
        "of two late ones the second is signed off",
        cleared(quiz(3, 4), signed(teach_back(3, 5))),
        date(2026, 3, 5),
        CLEARED,
        (R.LATE_BUT_SIGNED_OFF, R.TEACH_BACK_SEEN),
    ),
    # --- cleared: a clinician's waiver
    Row("waived", replace(FACTS, waived=True), date(2026, 3, 9), CLEARED, (R.WAIVED,)),
    Row(
        "waived without a date",
        replace(dated(None, None, None), waived=True),
        CLEAR_BY,
        CLEARED,
        (R.WAIVED,),
    ),
    Row(
        "waived, with a late clearance beside it",
        replace(cleared(quiz(3, 5)), waived=True),
        date(2026, 3, 6),
        CLEARED,
        (R.WAIVED,),
    ),
    # --- needs sign-off
    Row(
        "the day after the clear-by date",
        cleared(quiz(3, 4)),
        date(2026, 3, 4),
        NEEDS_SIGN_OFF,
        (R.CLEARED_AFTER_CLEAR_BY, R.QUIZ_PASSED),
    ),
    Row(
        "on the OR date itself",
        cleared(teach_back(3, 10)),
        OR_DATE,
        NEEDS_SIGN_OFF,
        (R.CLEARED_AFTER_CLEAR_BY, R.TEACH_BACK_SEEN),
    ),
    Row(
        "still, when the operation is over",
        cleared(quiz(3, 4)),
        date(2026, 4, 1),
        NEEDS_SIGN_OFF,
        (R.CLEARED_AFTER_CLEAR_BY, R.QUIZ_PASSED),
    ),
    Row(
        "a sign-off of one that counts no more is none",
        cleared(superseded(signed(quiz(3, 4))), quiz(3, 5)),
        date(2026, 3, 5),
        NEEDS_SIGN_OFF,
        (R.CLEARED_AFTER_CLEAR_BY, R.QUIZ_PASSED),
    ),
    Row(
        "the operation was moved forward: what was in time is late now",
        replace(
            dated(date(2026, 1, 27), date(2026, 2, 17), date(2026, 2, 24)),
            clearances=(quiz(2, 20),),
        ),
        date(2026, 2, 21),
        NEEDS_SIGN_OFF,
        (R.CLEARED_AFTER_CLEAR_BY, R.QUIZ_PASSED),
    ),
    # --- late
    Row("the day after the clear-by date, nothing", FACTS, date(2026, 3, 4), LATE, NEVER),
    Row("on the OR date, nothing", FACTS, OR_DATE, LATE, NEVER),
    Row(
        "cleared the day before it opened: too old",
        cleared(quiz(2, 9)),
        date(2026, 3, 4),
        LATE,
        (R.CLEARANCE_TOO_OLD, R.NEVER_INVITED),
    ),
    Row(
        "cleared the day after the operation: too late for a sign-off",
        cleared(quiz(3, 11)),
        date(2026, 3, 12),
        LATE,
        (R.CLEARED_TOO_LATE, R.NEVER_INVITED),
    ),
    Row(
        "signed off, but too old for the new date",
        cleared(signed(quiz(2, 9))),
        date(2026, 3, 4),
        LATE,
        (R.CLEARANCE_TOO_OLD, R.NEVER_INVITED),
    ),
    Row(
        "cleared on an edition that was superseded",
        cleared(superseded(quiz(2, 20))),
        date(2026, 3, 4),
        LATE,
        (R.EDITION_SUPERSEDED, R.NEVER_INVITED),
    ),
    Row(
        "superseded and too old, each by another clearance",
        cleared(superseded(quiz(2, 20)), quiz(1, 2)),
        date(2026, 3, 4),
        LATE,
        (R.EDITION_SUPERSEDED, R.CLEARANCE_TOO_OLD, R.NEVER_INVITED),
    ),
    Row(
        "superseded although signed off",
        cleared(superseded(signed(quiz(3, 4)))),
        date(2026, 3, 5),
        LATE,
        (R.EDITION_SUPERSEDED, R.NEVER_INVITED),
    ),
    # --- due: the notice period
    Row("on the clear-by day there is still today", FACTS, CLEAR_BY, DUE, NEVER),
    Row("the first day of the notice period", FACTS, date(2026, 2, 21), DUE, NEVER),
    Row("the day before it", FACTS, date(2026, 2, 20), NOT_DUE, NEVER),
    Row("no notice wanted: due on the day itself", FACTS, CLEAR_BY, DUE, NEVER, notice=0),
    Row("no notice wanted: the day before", FACTS, date(2026, 3, 2), NOT_DUE, NEVER, notice=0),
    Row(
        "due before it opens, when the notice is longer than the window",
        FACTS,
        date(2026, 2, 9),
        DUE,
        NEVER,
        notice=30,
    ),
    # --- not due
    Row("long before", FACTS, date(2025, 12, 1), NOT_DUE, NEVER),
    Row(
        "no date yet: never flagged late",
        dated(None, None, None),
        date(2030, 1, 1),
        NOT_DUE,
        (R.NO_DATE, R.NEVER_INVITED),
    ),
    Row(
        "no date any more: a clearance is kept for the day that comes",
        replace(dated(None, None, None), clearances=(quiz(2, 20),)),
        CLEAR_BY,
        NOT_DUE,
        (R.NO_DATE, R.NEVER_INVITED),
    ),
    Row(
        "no date, and how far it is",
        replace(dated(None, None, None), progress=Progress(True, True)),
        CLEAR_BY,
        NOT_DUE,
        (R.NO_DATE, R.NOT_FINISHED),
    ),
    # --- how far the patient came, the weightiest only
    Row("invited", so_far(invited=True), date(2026, 3, 4), LATE, (R.NOT_OPENED,)),
    Row("begun", so_far(invited=True, begun=True), date(2026, 3, 4), LATE, (R.NOT_FINISHED,)),
    Row(
        "failed",
        so_far(invited=True, failed=True),
        date(2026, 3, 4),
        LATE,
        (R.FAILED,),
    ),
    Row(
        "failed and begun again",
        so_far(invited=True, begun=True, failed=True),
        date(2026, 3, 1),
        DUE,
        (R.FAILED,),
    ),
    Row(
        "a person must take over",
        so_far(invited=True, failed=True, needs_teach_back=True),
        date(2026, 3, 1),
        DUE,
        (R.NEEDS_TEACH_BACK,),
    ),
    Row(
        "gone through on the phone, and has to be shown",
        so_far(invited=True, failed=True, needs_teach_back=True, needs_visit=True),
        date(2026, 3, 1),
        DUE,
        (R.NEEDS_VISIT,),
    ),
    Row(
        "a submission that nobody has decided about may clear: that first",
        so_far(invited=True, failed=True, needs_teach_back=True, undecided=True),
        date(2026, 3, 4),
        LATE,
        (R.IDENTITY_UNDECIDED,),
    ),
    Row(
        "too old, and a new link was sent",
        replace(cleared(quiz(2, 9)), progress=Progress(invited=True)),
        date(2026, 3, 1),
        DUE,
        (R.CLEARANCE_TOO_OLD, R.NOT_OPENED),
    ),
    # --- modules for after the operation
    Row("after the operation: not yet", AFTER_OPERATION, OR_DATE, NOT_DUE, NEVER, notice=7),
    Row("after the operation: due", AFTER_OPERATION, date(2026, 3, 20), DUE, NEVER, notice=7),
    Row("after the operation: its last day", AFTER_OPERATION, date(2026, 3, 24), DUE, NEVER),
    Row("after the operation: late", AFTER_OPERATION, date(2026, 3, 25), LATE, NEVER),
    Row(
        "after the operation: cleared in time",
        replace(AFTER_OPERATION, clearances=(quiz(3, 24),)),
        date(2026, 3, 25),
        CLEARED,
        (R.QUIZ_PASSED,),
    ),
    Row(
        "after the operation: cleared before it, when the module was not open",
        replace(AFTER_OPERATION, clearances=(quiz(3, 10),)),
        date(2026, 3, 25),
        LATE,
        (R.CLEARANCE_TOO_OLD, R.NEVER_INVITED),
    ),
    Row(
        "due after the operation and cleared late: any later day can be signed off",
        replace(AFTER_OPERATION, clearances=(signed(quiz(3, 25)),)),
        date(2026, 3, 26),
        CLEARED,
        (R.LATE_BUT_SIGNED_OFF, R.QUIZ_PASSED),
    ),
    Row(
        "due after the operation and cleared late: until then it waits for that",
        replace(AFTER_OPERATION, clearances=(quiz(3, 25),)),
        date(2026, 3, 26),
        NEEDS_SIGN_OFF,
        (R.CLEARED_AFTER_CLEAR_BY, R.QUIZ_PASSED),
    ),
    # --- leap days and the turn of the year
    Row(
        "29 February is the clear-by date: good on the day",
        replace(dated(date(2028, 2, 1), FEB_29, date(2028, 3, 7)), clearances=(quiz(2, 29, 2028),)),
        FEB_29,
        CLEARED,
        (R.QUIZ_PASSED,),
    ),
    Row(
        "28 February is the clear-by date of a leap year: the 29th is a day late",
        replace(
            dated(date(2028, 2, 1), date(2028, 2, 28), date(2028, 3, 6)),
            clearances=(quiz(2, 29, 2028),),
        ),
        FEB_29,
        NEEDS_SIGN_OFF,
        (R.CLEARED_AFTER_CLEAR_BY, R.QUIZ_PASSED),
    ),
    Row(
        "notice over a leap day: 1 March less 2 days",
        dated(date(2028, 2, 1), date(2028, 3, 1), date(2028, 3, 8)),
        date(2028, 2, 28),
        DUE,
        NEVER,
        notice=2,
    ),
    Row(
        "and the day before",
        dated(date(2028, 2, 1), date(2028, 3, 1), date(2028, 3, 8)),
        date(2028, 2, 27),
        NOT_DUE,
        NEVER,
        notice=2,
    ),
    Row(
        "clear by 31 December: on the day",
        dated(date(2026, 12, 1), date(2026, 12, 31), date(2027, 1, 7)),
        date(2026, 12, 31),
        DUE,
        NEVER,
    ),
    Row(
        "clear by 31 December: New Year's Day is late",
        dated(date(2026, 12, 1), date(2026, 12, 31), date(2027, 1, 7)),
        date(2027, 1, 1),
        LATE,
        NEVER,
    ),
    # --- a second clinician is wanted, and has not agreed yet
    Row(
        "signed off by the first alone: it does not count, and says what it waits for",
        cleared(half_signed(quiz(3, 4))),
        OR_DATE,
        NEEDS_SIGN_OFF,
        (R.SIGN_OFF_WAITS_FOR_SECOND, R.CLEARED_AFTER_CLEAR_BY, R.QUIZ_PASSED),
    ),
    Row(
        "another late one that was signed off by both counts",
        cleared(half_signed(quiz(3, 4)), signed(quiz(3, 5))),
        OR_DATE,
        CLEARED,
        (R.LATE_BUT_SIGNED_OFF, R.QUIZ_PASSED),
    ),
    Row(
        "waived by the first alone: as if it were not",
        half_waived(),
        date(2026, 3, 4),
        LATE,
        (R.WAIVER_WAITS_FOR_SECOND, *NEVER),
    ),
    Row(
        "waived by the first alone, and late: both are said",
        half_waived(quiz(3, 4)),
        OR_DATE,
        NEEDS_SIGN_OFF,
        (R.WAIVER_WAITS_FOR_SECOND, R.CLEARED_AFTER_CLEAR_BY, R.QUIZ_PASSED),
    ),
    Row(
        "cleared in the window: nobody needs the waiver any more",
        half_waived(quiz(2, 20)),
        OR_DATE,
        CLEARED,
        (R.QUIZ_PASSED,),
    ),
    Row(
        "waived by the first alone, without a date",
        replace(dated(None, None, None), waiver_awaits_second=True),
        CLEAR_BY,
        NOT_DUE,
        (R.NO_DATE, R.WAIVER_WAITS_FOR_SECOND, *NEVER),
    ),
]


@pytest.mark.parametrize("row", ROWS, ids=[row.why for row in ROWS])
def test_standing(row: Row) -> None:
    answer = standing(row.facts, on=row.on, notice_days=row.notice)
    assert (answer.standing, answer.reasons) == (row.standing, row.reasons)
    assert answer.flagged is (row.standing in {LATE, DUE, NEEDS_SIGN_OFF})


def test_every_standing_and_every_reason_has_a_row() -> None:
    assert {row.standing for row in ROWS} == set(Standing)
    assert {reason for row in ROWS for reason in row.reasons} == set(Reason)


def test_flagged_is_late_due_or_needs_sign_off() -> None:
    assert {LATE, DUE, NEEDS_SIGN_OFF} == FLAGGED


@pytest.mark.parametrize(
    "clearances, day, why",
    [
        ((quiz(2, 25), quiz(2, 12)), date(2026, 2, 12), "the first one in the window"),
        ((quiz(3, 6), quiz(3, 5)), date(2026, 3, 5), "the first late one, to be signed off"),
        ((quiz(3, 4), signed(quiz(3, 6))), date(2026, 3, 6), "the one that was signed off"),
        ((quiz(2, 9), quiz(3, 4)), date(2026, 3, 4), "not the one that is too old"),
        ((quiz(2, 9),), None, "nothing counts"),
    ],
)
def test_the_day_of_the_clearance_that_counts(
    clearances: tuple[ClearanceFact, ...], day: date | None, why: str
) -> None:
    assert standing(cleared(*clearances), on=OR_DATE, notice_days=NOTICE).cleared_on == day


def test_a_day_of_every_year_is_answered_once_and_in_order() -> None:
    """Without a clearance an assignment goes not due, due, late, and never back."""
    order = [NOT_DUE, DUE, LATE]
    days = [CLEAR_BY + timedelta(days=n) for n in range(-30, 30)]
    told: list[Answer] = [standing(FACTS, on=day, notice_days=NOTICE) for day in days]
    places = [order.index(answer.standing) for answer in told]
    assert places == sorted(places)
    assert [places.count(n) for n in range(3)] == [20, NOTICE + 1, 29]
