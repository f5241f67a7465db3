"""Who is sent an invitation or a reminder on this day, nobody asking for it, and why not?

An invitation goes out once the window is open. A reminder has its day: so many days before the
clear-by date, or the last working day before that. Where that day was missed (the programme was
stopped, the OR date moved) it goes out on the next working day, up to a week later, unless a later
one is due by then. One email a patient and a day, and no more in a week than the programme wants.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

from education.rules.standing import (
    WAITS_FOR_SECOND,
    Answer,
    Facts,
    Reason,
    Standing,
    how_far,
    standing,
)
from education.rules.working_days import WorkingDays

DAY = timedelta(days=1)
WEEK = 7 * DAY
CATCH_UP = timedelta(days=7)


class What(StrEnum):
    INVITATION = "invitation"
    REMINDER = "reminder"


class Mail(StrEnum):
    """What became of the latest email with the link, at the address on file."""

    NONE = "none"
    ON_ITS_WAY = "on_its_way"
    WENT_OUT = "went_out"
    UNSURE = "unsure"
    FAILED = "failed"
    BLOCKED = "blocked"  # nothing more goes to the address on file


class WhyNot(StrEnum):
    """Why nobody writes to a patient about an assignment on a day."""

    CLEARED = "cleared"
    OUR_MOVE = "our_move"  # a sign-off, a decision or a teach-back is next, not the patient
    NO_DATE = "no_date"
    OVER = "over"  # the OR date has passed, and it was due before that
    NO_EMAIL = "no_email"
    NOT_PUBLISHED = "not_published"
    NOT_OPEN_YET = "not_open_yet"
    MAIL_FAILED = "mail_failed"
    ADDRESS_MARKED = "address_marked"
    MAIL_UNSURE = "mail_unsure"
    MAIL_ON_ITS_WAY = "mail_on_its_way"
    NOT_INVITED = "not_invited"  # and the programme does not invite of its own accord
    CLOSED_DAY = "closed_day"
    NO_REMINDER_YET = "no_reminder_yet"  # no reminder's day has come
    NOT_FOR_THEM = "not_for_them"  # another standing, or they came further, or less far
    REMINDED = "reminded"  # by this reminder or a later one, of this clear-by date
    MISSED = "missed"  # its day is more than a week ago
    LINK_IS_NEW = "link_is_new"  # it was sent on the reminder's day or later
    WRITTEN_TODAY = "written_today"
    WEEKLY_CAP = "weekly_cap"


# Whose move it is while these hold: the programme's.
OUR_MOVE = WAITS_FOR_SECOND | {
    Reason.IDENTITY_UNDECIDED,
    Reason.NEEDS_TEACH_BACK,
    Reason.NEEDS_VISIT,
}
# How far a patient may have come who is reminded.
REMINDABLE = (Reason.NOT_OPENED, Reason.NOT_FINISHED, Reason.FAILED)
REMINDABLE_STANDINGS = (Standing.NOT_DUE, Standing.DUE, Standing.LATE)
NO_LINK_HELPS = {
    Mail.FAILED: WhyNot.MAIL_FAILED,
    Mail.BLOCKED: WhyNot.ADDRESS_MARKED,
    Mail.UNSURE: WhyNot.MAIL_UNSURE,
    Mail.ON_ITS_WAY: WhyNot.MAIL_ON_ITS_WAY,
}


@dataclass(frozen=True)
class ReminderRule:
    """Remind so many days before the clear-by date (negative: after it) whoever is so far."""

    days_before: int
    standings: frozenset[Standing] = frozenset(REMINDABLE_STANDINGS)
    how_far: frozenset[Reason] = frozenset(REMINDABLE)

    def day(self, clear_by: date, days: WorkingDays) -> date:
        """Return the day of the reminder: a working day, the last one up to its date."""
        return days.last_up_to(clear_by - self.days_before * DAY)


@dataclass(frozen=True)
class PastReminder:
    """A reminder that went out, or is about to."""

    days_before: int
    clear_by: date


@dataclass(frozen=True)
class Case:
    """One assignment, and what is on record about writing to its patient.

    `invited_on`: the local day on which the latest link was sent; None: none was.
    """

    id: int
    patient: int
    facts: Facts
    has_email: bool = True
    published: bool = True
    mail: Mail = Mail.NONE
    invited_on: date | None = None
    reminded: tuple[PastReminder, ...] = ()


@dataclass(frozen=True)
class Settings:
    """What the programme wants; `notice_days` as for the standing."""

    invites: bool
    reminders: tuple[ReminderRule, ...]
    weekly_cap: int
    notice_days: int
    days: WorkingDays


@dataclass(frozen=True)
class Decision:
    """What a patient is sent about an assignment, or why nothing; `rule` of a reminder alone."""

    case: Case
    what: What | None = None
    rule: ReminderRule | None = None
    why_not: WhyNot | None = None


# By patient the days on which an email to them was written, whoever wrote it.
Written = Mapping[int, Sequence[date]]


def who_is_written_to(
    cases: Iterable[Case], written: Written, *, on: date, settings: Settings
) -> list[Decision]:
    """Decide about each assignment on the day `on`, in the order of the clear-by dates."""
    today: set[int] = {patient for patient, days in written.items() if on in days}
    decisions = []
    for case in sorted(cases, key=lambda one: (one.facts.clear_by or date.max, one.id)):
        decision = about(case, on=on, settings=settings)
        if decision.what is not None:
            lately = sum(on - WEEK < day <= on for day in written.get(case.patient, ()))
            if case.patient in today:
                decision = Decision(case, why_not=WhyNot.WRITTEN_TODAY)
            elif lately >= settings.weekly_cap:
                decision = Decision(case, why_not=WhyNot.WEEKLY_CAP)
            else:
                today.add(case.patient)
        decisions.append(decision)
    return decisions


def about(case: Case, *, on: date, settings: Settings) -> Decision:
    """Decide about one assignment as if its patient got no other email."""
    answer = standing(case.facts, on=on, notice_days=settings.notice_days)
    against = _against(case, answer, on=on)
    if against:
        return Decision(case, why_not=against)
    if Reason.NEVER_INVITED in answer.reasons or case.invited_on is None:
        if settings.invites:
            return Decision(case, What.INVITATION)
        return Decision(case, why_not=WhyNot.NOT_INVITED)
    return _reminder(case, answer, on=on, settings=settings)


def forecast(
    cases: Iterable[Case], written: Written, *, on: date, days: int, settings: Settings
) -> Iterator[tuple[date, list[Decision]]]:
    """Yield what would be decided on each of so many days from `on`, if nobody did anything."""
    now = {case.id: case for case in cases}
    by_then = defaultdict(list, {patient: list(dates) for patient, dates in written.items()})
    for day in (on + n * DAY for n in range(days)):
        decisions = who_is_written_to(now.values(), by_then, on=day, settings=settings)
        yield day, decisions
        for decision in decisions:
            if decision.what is not None:
                now[decision.case.id] = _afterwards(decision, day)
                by_then[decision.case.patient].append(day)


def _against(case: Case, answer: Answer, *, on: date) -> WhyNot | None:
    """Say what speaks against any email, whatever the programme's rules."""
    facts = case.facts
    if answer.standing == Standing.CLEARED:
        return WhyNot.CLEARED
    if facts.opens_on is None or facts.clear_by is None:
        return WhyNot.NO_DATE
    if facts.or_date is not None and facts.clear_by <= facts.or_date < on:
        return WhyNot.OVER
    if answer.standing == Standing.NEEDS_SIGN_OFF or OUR_MOVE & set(answer.reasons):
        return WhyNot.OUR_MOVE
    if not case.has_email:
        return WhyNot.NO_EMAIL
    if not case.published:
        return WhyNot.NOT_PUBLISHED
    if on < facts.opens_on:
        return WhyNot.NOT_OPEN_YET
    return NO_LINK_HELPS.get(case.mail)


def _reminder(case: Case, answer: Answer, *, on: date, settings: Settings) -> Decision:
    clear_by, invited_on = case.facts.clear_by, case.invited_on
    if clear_by is None or invited_on is None:
        raise ValueError("a reminder reminds of a link, and of a date")
    if not settings.days.is_one(on):
        return Decision(case, why_not=WhyNot.CLOSED_DAY)
    come = [r for r in settings.reminders if r.day(clear_by, settings.days) <= on]
    if not come:
        return Decision(case, why_not=WhyNot.NO_REMINDER_YET)
    came = how_far(case.facts.progress)
    fitting = [r for r in come if answer.standing in r.standings and came in r.how_far]
    if not fitting:
        return Decision(case, why_not=WhyNot.NOT_FOR_THEM)
    rule = min(fitting, key=lambda r: r.days_before)
    theirs = [r.days_before for r in case.reminded if r.clear_by == clear_by]
    day = rule.day(clear_by, settings.days)
    why_not = None
    if any(days_before <= rule.days_before for days_before in theirs):
        why_not = WhyNot.REMINDED
    elif on - day > CATCH_UP:
        why_not = WhyNot.MISSED
    elif invited_on >= day:
        why_not = WhyNot.LINK_IS_NEW
    if why_not:
        return Decision(case, why_not=why_not)
    return Decision(case, What.REMINDER, rule)


def _afterwards(decision: Decision, day: date) -> Case:
    """Return the case as it will be once the email went out and nothing else happened."""
    case = decision.case
    if decision.what == What.INVITATION:
        progress = replace(case.facts.progress, invited=True)
        facts = replace(case.facts, progress=progress)
        return replace(case, facts=facts, invited_on=day, mail=Mail.WENT_OUT)
    if decision.rule is None or case.facts.clear_by is None:
        raise ValueError("a reminder follows a rule")
    past = PastReminder(decision.rule.days_before, case.facts.clear_by)
    return replace(case, reminded=(*case.reminded, past), mail=Mail.WENT_OUT)
