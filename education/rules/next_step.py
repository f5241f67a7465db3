"""What should the dietitian do next about a flagged assignment?"""

from dataclasses import dataclass
from enum import StrEnum

from education.rules.standing import WAITS_FOR_SECOND, Answer, Reason, Standing


class NextStep(StrEnum):
    DECIDE_IDENTITY = "decide_identity"
    SIGN_OFF = "sign_off"
    SECOND_CLINICIAN = "second_clinician"
    CALL_SHEET = "call_sheet"
    SEND_LINK = "send_link"
    SEND_LINK_AGAIN = "send_link_again"
    CALL = "call"
    WAIT_FOR_MAIL = "wait_for_mail"
    NOTHING = "nothing"


@dataclass(frozen=True)
class Reach:
    """How the patient can be reached: an address on file, and what became of the last email."""

    has_email: bool
    mail_failed: bool = False
    mail_waiting: bool = False
    reachable_link: bool = False


def next_step(answer: Answer, reach: Reach) -> NextStep:
    """Return the one step that moves the assignment on; nobody who cannot be mailed is mailed."""
    if answer.standing == Standing.CLEARED or Reason.NO_DATE in answer.reasons:
        return NextStep.NOTHING
    if WAITS_FOR_SECOND & set(answer.reasons):
        return NextStep.SECOND_CLINICIAN
    if answer.standing == Standing.NEEDS_SIGN_OFF:
        return NextStep.SIGN_OFF
    if Reason.IDENTITY_UNDECIDED in answer.reasons:
        return NextStep.DECIDE_IDENTITY
    if Reason.NEEDS_TEACH_BACK in answer.reasons:
        return NextStep.CALL_SHEET
    if not reach.has_email or reach.mail_failed:
        return NextStep.CALL
    if reach.mail_waiting:
        return NextStep.WAIT_FOR_MAIL
    if reach.reachable_link:
        return NextStep.SEND_LINK_AGAIN
    return NextStep.SEND_LINK
