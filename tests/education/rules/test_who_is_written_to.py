"""Who is written to on a day, and why not: one table, a reason on each row.

When to remind is the programme's own rule; the rows follow common practice (remind in time, on
working days, never somebody who is done). Working days and holidays: standards.md CAL-1 to CAL-3.
"""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from education.rules.standing import ClearanceFact, Evidence, Facts, Progress, Reason, Standing
from education.rules.who_is_written_to import (
    Case,
    Mail,
    PastReminder,
    ReminderRule,
    Settings,
    What,
    WhyNot,
    forecast,
    who_is_written_to,
)
from education.rules.working_days import WorkingDays

DAY = timedelta(days=1)
MONDAY = date(2026, 3, 2)
OR_DATE = date(2026, 3, 30)
CLEAR_BY = date(2026, 3, 16)  # a Monday
OPENS = date(2026, 2, 1)
TEN, THREE = ReminderRule(10), ReminderRule(3)  # Friday 6 March, Friday 13 March
SETTINGS = Settings(
    invites=True, reminders=(TEN, THREE), weekly_cap=3, notice_days=10, days=WorkingDays()
)
INVITED = Progress(invited=True)
CASE = Case(
    id=1,
    patient=1,
    facts=Facts(OR_DATE, OPENS, CLEAR_BY, progress=INVITED),
    mail=Mail.WENT_OUT,
    invited_on=date(2026, 2, 10),
)
SIXTH, THIRTEENTH = date(2026, 3, 6), date(2026, 3, 13)


def case(**facts: Any) -> Case:
    """The patient of the table, with other facts."""
    return replace(CASE, facts=replace(CASE.facts, **facts))


def cleared(on: date, **said: Any) -> tuple[ClearanceFact, ...]:
    return (ClearanceFact(on, Evidence.QUIZ, **said),)


LATE_RULE = ReminderRule(-2, frozenset({Standing.LATE}), frozenset({Reason.NOT_FINISHED}))
TABLE: list[tuple[str, Case, date, Settings, What | ReminderRule | WhyNot]] = [
    # the reminder's day
    ("ten days before, a Friday", CASE, SIXTH, SETTINGS, TEN),
    ("the day before it", CASE, SIXTH - DAY, SETTINGS, WhyNot.NO_REMINDER_YET),
    ("the next one, three days before", CASE, THIRTEENTH, SETTINGS, THREE),
    (
        "the day is a Saturday, so the Friday before",
        case(clear_by=CLEAR_BY + DAY),
        SIXTH,
        SETTINGS,
        TEN,
    ),
    (
        "and not on the Saturday itself",
        case(clear_by=CLEAR_BY + DAY),
        SIXTH + DAY,
        SETTINGS,
        WhyNot.CLOSED_DAY,
    ),
    (
        "the programme is closed that Friday, so the Thursday",
        CASE,
        SIXTH - DAY,
        replace(SETTINGS, days=WorkingDays(frozenset({SIXTH}))),
        TEN,
    ),
    # missed, moved, repeated
    ("stopped for three days: caught up on Monday", CASE, SIXTH + 3 * DAY, SETTINGS, TEN),
    ("overtaken by the later one", CASE, THIRTEENTH, SETTINGS, THREE),
    (
        "more than a week ago",
        CASE,
        CLEAR_BY,
        replace(SETTINGS, reminders=(TEN,)),
        WhyNot.MISSED,
    ),
    (
        "reminded already",
        replace(CASE, reminded=(PastReminder(10, CLEAR_BY),)),
        SIXTH + 3 * DAY,
        SETTINGS,
        WhyNot.REMINDED,
    ),
    (
        "reminded of another date: the date moved",
        replace(CASE, reminded=(PastReminder(10, CLEAR_BY + 14 * DAY),)),
        SIXTH,
        SETTINGS,
        TEN,
    ),
    (
        "the later one went out, and a longer one was added since",
        replace(CASE, reminded=(PastReminder(3, CLEAR_BY),)),
        THIRTEENTH + 3 * DAY,
        SETTINGS,
        WhyNot.REMINDED,
    ),
    (
        "the link was sent on that day",
        replace(CASE, invited_on=SIXTH),
        SIXTH + 3 * DAY,
        SETTINGS,
        WhyNot.LINK_IS_NEW,
    ),
    # by standing, and by how far they came
    (
        "begun, and the rule is for those who did not open it",
        case(progress=Progress(invited=True, begun=True)),
        SIXTH,
        replace(SETTINGS, reminders=(replace(TEN, how_far=frozenset({Reason.NOT_OPENED})),)),
        WhyNot.NOT_FOR_THEM,
    ),
    (
        "due, and the rule is for those who are not due yet",
        CASE,
        SIXTH,
        replace(SETTINGS, reminders=(replace(TEN, standings=frozenset({Standing.NOT_DUE})),)),
        WhyNot.NOT_FOR_THEM,
    ),
    (
        "late: two days after the clear-by date",
        case(progress=Progress(invited=True, begun=True)),
        date(2026, 3, 18),
        replace(SETTINGS, reminders=(LATE_RULE,)),
        LATE_RULE,
    ),
    # it stops at clearance, and where the next move is ours
    ("cleared", case(clearances=cleared(MONDAY)), SIXTH, SETTINGS, WhyNot.CLEARED),
    ("waived", case(waived=True), SIXTH, SETTINGS, WhyNot.CLEARED),
    (
        "waits for a second clinician",
        case(waiver_awaits_second=True),
        SIXTH,
        SETTINGS,
        WhyNot.OUR_MOVE,
    ),
    (
        "cleared late, waits for a sign-off",
        case(clearances=cleared(CLEAR_BY + DAY)),
        CLEAR_BY + DAY,
        SETTINGS,
        WhyNot.OUR_MOVE,
    ),
    (
        "a quiz came in, and whose it is was not decided",
        case(progress=Progress(invited=True, undecided=True)),
        SIXTH,
        SETTINGS,
        WhyNot.OUR_MOVE,
    ),
    (
        "needs teach-back: another email would not help",
        case(progress=Progress(invited=True, failed=True, needs_teach_back=True)),
        SIXTH,
        SETTINGS,
        WhyNot.OUR_MOVE,
    ),
    (
        "failed, may try again",
        case(progress=Progress(invited=True, failed=True)),
        SIXTH,
        SETTINGS,
        TEN,
    ),
    ("the operation's day has passed", CASE, OR_DATE + DAY, SETTINGS, WhyNot.OVER),
    # nothing would reach them
    (
        "no date",
        case(or_date=None, opens_on=None, clear_by=None),
        SIXTH,
        SETTINGS,
        WhyNot.NO_DATE,
    ),
    ("no address", replace(CASE, has_email=False), SIXTH, SETTINGS, WhyNot.NO_EMAIL),
    ("the last one failed", replace(CASE, mail=Mail.FAILED), SIXTH, SETTINGS, WhyNot.MAIL_FAILED),
    (
        "nothing more goes to the address",
        replace(CASE, mail=Mail.BLOCKED),
        SIXTH,
        SETTINGS,
        WhyNot.ADDRESS_MARKED,
    ),
    ("may have failed", replace(CASE, mail=Mail.UNSURE), SIXTH, SETTINGS, WhyNot.MAIL_UNSURE),
    (
        "one is on its way",
        replace(CASE, mail=Mail.ON_ITS_WAY),
        SIXTH,
        SETTINGS,
        WhyNot.MAIL_ON_ITS_WAY,
    ),
    ("nothing to read yet", replace(CASE, published=False), SIXTH, SETTINGS, WhyNot.NOT_PUBLISHED),
    # invitations
    ("not open yet", case(opens_on=SIXTH + DAY), SIXTH, SETTINGS, WhyNot.NOT_OPEN_YET),
    (
        "opens today",
        replace(CASE, facts=Facts(OR_DATE, SIXTH, CLEAR_BY), mail=Mail.NONE, invited_on=None),
        SIXTH,
        SETTINGS,
        What.INVITATION,
    ),
    (
        "opened on a Saturday: an invitation does not wait for Monday",
        replace(CASE, facts=Facts(OR_DATE, SIXTH + DAY, CLEAR_BY), invited_on=None),
        SIXTH + DAY,
        SETTINGS,
        What.INVITATION,
    ),
    (
        "the link went to another address",
        replace(CASE, mail=Mail.NONE, invited_on=None),
        MONDAY,
        SETTINGS,
        What.INVITATION,
    ),
    (
        "invitations are sent by hand",
        replace(CASE, facts=Facts(OR_DATE, OPENS, CLEAR_BY), invited_on=None),
        SIXTH,
        replace(SETTINGS, invites=False),
        WhyNot.NOT_INVITED,
    ),
]


@pytest.mark.parametrize(
    ("one", "on", "settings", "expected"), [row[1:] for row in TABLE], ids=[row[0] for row in TABLE]
)
def test_the_table(one: Case, on: date, settings: Settings, expected: object) -> None:
    (decision,) = who_is_written_to([one], {}, on=on, settings=settings)
    said = decision.rule or decision.what or decision.why_not
    assert said == expected


def test_one_email_a_patient_and_a_day_the_soonest_clear_by_first() -> None:
    other = replace(case(clear_by=CLEAR_BY + 3 * DAY), id=2)
    settings = replace(SETTINGS, reminders=(ReminderRule(13), TEN))
    first, second = who_is_written_to([other, CASE], {}, on=SIXTH, settings=settings)
    assert (first.case, first.what) == (CASE, What.REMINDER)
    assert (second.case, second.why_not) == (other, WhyNot.WRITTEN_TODAY)


def test_what_somebody_sent_by_hand_today_counts() -> None:
    (decision,) = who_is_written_to([CASE], {1: [SIXTH]}, on=SIXTH, settings=SETTINGS)
    assert decision.why_not == WhyNot.WRITTEN_TODAY


def test_b6_the_weekly_cap_is_of_seven_local_days() -> None:
    settings = replace(SETTINGS, weekly_cap=2)
    for lately, expected in (
        ([SIXTH - 6 * DAY, SIXTH - DAY], WhyNot.WEEKLY_CAP),
        ([SIXTH - 7 * DAY, SIXTH - DAY], None),
    ):
        (decision,) = who_is_written_to([CASE], {1: lately}, on=SIXTH, settings=settings)
        assert decision.why_not == expected


def test_the_forecast_is_what_each_day_would_bring_if_nobody_did_anything() -> None:
    new = replace(
        CASE, facts=Facts(OR_DATE, MONDAY + DAY, CLEAR_BY), mail=Mail.NONE, invited_on=None
    )
    sent = [
        (day, decision.what, decision.rule)
        for day, decisions in forecast([new], {}, on=MONDAY, days=14, settings=SETTINGS)
        for decision in decisions
        if decision.what
    ]
    assert sent == [
        (MONDAY + DAY, What.INVITATION, None),
        (SIXTH, What.REMINDER, TEN),
        (THIRTEENTH, What.REMINDER, THREE),
    ]


def test_nobody_is_reminded_twice_by_one_rule_of_one_date() -> None:
    """Three weeks of days, each decided with what the days before it sent."""
    reminded: list[tuple[date, int]] = []
    for day, decisions in forecast([CASE], {}, on=OPENS, days=60, settings=SETTINGS):
        reminded += [(day, d.rule.days_before) for d in decisions if d.rule]
    assert reminded == [(SIXTH, 10), (THIRTEENTH, 3)]
