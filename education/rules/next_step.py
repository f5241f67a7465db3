"""What should the dietitian do next about a flagged assignment?"""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from education.rules.contact_wanted import NO_CONTACTS, Contacts, Wanted, contact_wanted
from education.rules.standing import WAITS_FOR_SECOND, Answer, Reason, Standing


class NextStep(StrEnum):
    DECIDE_IDENTITY = "decide_identity"
    SIGN_OFF = "sign_off"
    SECOND_CLINICIAN = "second_clinician"
    SURGEONS_OFFICE = "surgeons_office"  # asked to help reach the patient
    VISIT = "visit"
    CALL_SHEET = "call_sheet"
    CALL_TODAY = "call_today"  # the next contact date is reached
    WAIT_FOR_CONTACT = "wait_for_contact"  # it lies ahead
    WAIT_FOR_WINDOW = "wait_for_window"
    SEND_LINK = "send_link"
    SEND_LINK_AGAIN = "send_link_again"
    CALL = "call"
    WAIT_FOR_MAIL = "wait_for_mail"
    NOTHING = "nothing"


@dataclass(frozen=True)
class Reach:
    """How the patient can be reached: an address on file, and what became of the last email.

    `escalated`: the surgeon's office is asked to help. `opens_on`: the window's first day.
    """

    has_email: bool
    mail_failed: bool = False
    mail_waiting: bool = False
    reachable_link: bool = False
    contacts: Contacts = NO_CONTACTS
    escalated: bool = False
    opens_on: date | None = None


def next_step(answer: Answer, reach: Reach, *, on: date) -> NextStep:
    """Return the one step that moves the assignment on, on the day `on`.

    Nobody who cannot be mailed is mailed; whoever has no address is called from the day the module
    opens.
    """
    if answer.standing == Standing.CLEARED:
        return NextStep.NOTHING
    wanted = contact_wanted(reach.contacts, opens_on=reach.opens_on, has_email=True, on=on)
    if Reason.NO_DATE in answer.reasons:
        return NextStep.CALL_TODAY if wanted else NextStep.NOTHING
    if WAITS_FOR_SECOND & set(answer.reasons):
        return NextStep.SECOND_CLINICIAN
    if answer.standing == Standing.NEEDS_SIGN_OFF:
        return NextStep.SIGN_OFF
    if Reason.IDENTITY_UNDECIDED in answer.reasons:
        return NextStep.DECIDE_IDENTITY
    if reach.escalated:
        return NextStep.SURGEONS_OFFICE
    return _by_phone(answer, reach, wanted, on=on) or _by_mail(reach)


def _by_phone(answer: Answer, reach: Reach, wanted: Wanted | None, *, on: date) -> NextStep | None:
    """Return the step that a conversation is; None where an email does it."""
    if reach.opens_on is not None and on < reach.opens_on:
        if wanted == Wanted.DATE_REACHED:
            return NextStep.CALL_TODAY
        return None if reach.has_email else NextStep.WAIT_FOR_WINDOW
    ahead = reach.contacts.next_on is not None and reach.contacts.next_on > on
    if Reason.NEEDS_VISIT in answer.reasons:
        return NextStep.VISIT
    if Reason.NEEDS_TEACH_BACK in answer.reasons:
        return NextStep.WAIT_FOR_CONTACT if ahead else NextStep.CALL_SHEET
    if wanted == Wanted.DATE_REACHED:
        return NextStep.CALL_TODAY
    if not reach.has_email or reach.mail_failed:
        return NextStep.WAIT_FOR_CONTACT if ahead else NextStep.CALL
    return None


def _by_mail(reach: Reach) -> NextStep:
    if reach.mail_waiting:
        return NextStep.WAIT_FOR_MAIL
    if reach.reachable_link:
        return NextStep.SEND_LINK_AGAIN
    return NextStep.SEND_LINK
