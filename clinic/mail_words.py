"""What staff read about the programme's mail: purposes, reasons, reminders."""

from clinic.day_words import days
from education.answer import ANSWER
from education.invite import INVITATION, REMINDER, RENEWAL
from education.plan_link import PLAN
from education.plan_moves import PLAN_MOVED
from education.rules.delivery import Told, Why
from education.rules.standing import Reason, Standing
from education.rules.who_is_written_to import ReminderRule, WhyNot

PURPOSE = {
    INVITATION: "the link",
    RENEWAL: "a new link, asked for by the patient",
    REMINDER: "a reminder",
    PLAN: "the eating plan",
    PLAN_MOVED: "the eating plan’s days moved",
    ANSWER: "an answer to a question waits",
    "digest": "morning digest",
}

WHY_NOT = {
    WhyNot.CLEARED: "cleared",
    WhyNot.OUR_MOVE: "the next move is the programme’s: a decision, a sign-off or a teach-back",
    WhyNot.NO_DATE: "no OR date",
    WhyNot.OVER: "the OR date has passed",
    WhyNot.NO_EMAIL: "no email address on file",
    WhyNot.NOT_PUBLISHED: "the module is not published",
    WhyNot.NOT_OPEN_YET: "the window has not opened",
    WhyNot.MAIL_FAILED: "the last email failed: call",
    WhyNot.ADDRESS_MARKED: "nothing more goes to the address on file: call",
    WhyNot.MAIL_UNSURE: "the last email may not have arrived: decide on the mail page",
    WhyNot.MAIL_ON_ITS_WAY: "an email is on its way",
    WhyNot.NOT_INVITED: "no link sent yet, and links are sent by hand",
    WhyNot.CLOSED_DAY: "not a working day",
    WhyNot.NO_REMINDER_YET: "no reminder’s day has come",
    WhyNot.NOT_FOR_THEM: "no reminder fits their standing and how far they came",
    WhyNot.REMINDED: "reminded already",
    WhyNot.MISSED: "the reminder’s day is more than a week ago",
    WhyNot.LINK_IS_NEW: "the link went out on the reminder’s day or later",
    WhyNot.WRITTEN_TODAY: "gets another email today",
    WhyNot.WEEKLY_CAP: "had as many emails this week as you allow",
}

WHY_MARKED: dict[str, str] = {
    Why.NO_MAILBOX: "there is no such mailbox",
    Why.NO_DOMAIN: "no mail gets to what stands behind the @",
    Why.CLOSED: "the mailbox is closed",
    Why.FULL: "the mailbox is full",
    Why.REFUSED: "the other mail system refuses our emails",
    Why.COMPLAINED: "our email was reported as unwanted",
    Why.UNSUBSCRIBED: "asked for no more emails",
}
TOLD: dict[str, str] = {
    Told.DELIVERED: "email arrived",
    Told.DELAYED: "email delayed, the mail system goes on trying",
    Told.GAVE_UP: "email came back: the mail system gave up",
    Told.BOUNCED: "email came back",
    Told.REJECTED: "email not sent on by the mail service",
    Told.COMPLAINED: "email reported as unwanted",
    Told.UNSUBSCRIBED: "asked for no more emails",
}

STANDINGS = {
    Standing.NOT_DUE: "not due",
    Standing.DUE: "due",
    Standing.LATE: "late",
}
HOW_FAR = {
    Reason.NOT_OPENED: "quiz not begun",
    Reason.NOT_FINISHED: "quiz begun, not finished",
    Reason.FAILED: "quiz failed, may be taken again",
}


def reminder_words(rule: ReminderRule) -> str:
    """Return when a reminder goes out, in words."""
    if rule.days_before == 0:
        return "on the clear-by date"
    when = "before" if rule.days_before > 0 else "after"
    return f"{days(abs(rule.days_before))} {when} the clear-by date"
