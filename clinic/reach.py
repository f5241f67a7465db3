"""What became of the last email to a patient, and whether its link still works."""

from dataclasses import dataclass, replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

from clinic.day_words import short_day
from clinic.mail_words import WHY_MARKED
from education.mail_then import Unknown
from education.models import Invitation, MessageState
from education.personal_link import LinkState, link_state
from education.reaching import NOTHING_KNOWN, Reaching
from education.rules.contact_wanted import Wanted, contact_wanted
from education.rules.next_step import Reach
from education.standings import Told
from patients.clock import local_date

ON_ITS_WAY = (MessageState.WAITING, MessageState.SENDING)


@dataclass(frozen=True)
class Reached:
    """`reach` is for the rule, the sentences are for people; `sent_on` is a local day.

    `wanted`: why somebody has to call today.
    """

    reach: Reach
    mail_words: str
    link_words: str
    sent_on: date | None = None
    wanted: Wanted | None = None

    @property
    def mail_fails(self) -> bool:
        """Email does not get to this patient: call instead."""
        return not self.reach.has_email or self.reach.mail_failed


def reached(
    told: Told,
    *,
    at: datetime,
    zone: ZoneInfo,
    reminder_state: str | None = None,
    known: Reaching = NOTHING_KNOWN,
    marked: str | None = None,
) -> Reached:
    """Read what is on record about the assignment's latest invitation; no query.

    `reminder_state`: of the latest reminder of that link, where the caller has read it. `known`:
    the contacts with the patient, where the caller has read them. `marked`: why nothing more goes
    to the address on file; None: nothing speaks against it.
    """
    by_mail = _by_mail(told, at=at, zone=zone, reminder_state=reminder_state, marked=marked)
    reach = replace(
        by_mail.reach,
        contacts=known.contacts,
        escalated=known.escalation is not None,
        opens_on=told.facts.opens_on,
    )
    wanted = contact_wanted(
        known.contacts,
        opens_on=reach.opens_on,
        has_email=reach.has_email,
        on=local_date(at, zone),
    )
    return replace(by_mail, reach=reach, wanted=wanted)


def _by_mail(
    told: Told, *, at: datetime, zone: ZoneInfo, reminder_state: str | None, marked: str | None
) -> Reached:
    patient = told.assignment.operation.patient
    if not patient.email:
        return Reached(Reach(has_email=False), "no email address", _link_words(told, at, zone))
    if marked:
        words = f"no email goes to the address on file: {WHY_MARKED[marked]}"
        reach = Reach(has_email=True, mail_failed=True)
        return Reached(reach, words, _link_words(told, at, zone))
    invitation = told.invitation
    if invitation is None or invitation.address.lower() != patient.email.lower():
        words = "no open link" if invitation is None else "no email to the present address yet"
        return Reached(Reach(has_email=True), words, _link_words(told, at, zone))
    message = getattr(invitation, "message", None)
    state = message.state if message else None
    reach = Reach(
        has_email=True,
        mail_failed=MessageState.FAILED in (state, reminder_state),
        mail_waiting=state in ON_ITS_WAY and not hasattr(invitation, "end"),
        reachable_link=_state(invitation, told, at) == LinkState.GOOD,
    )
    sent_on = local_date(message.sent_at, zone) if message and message.sent_at else None
    words = _mail_words(reach, sent_on)
    if state == Unknown.NOT_ON_RECORD:
        words = "an email was written; whether it had gone out by then is not on record"
    if MessageState.AMBIGUOUS in (state, reminder_state) and not reach.mail_failed:
        words = "the email may not have arrived"
    return Reached(reach, words, _link_words(told, at, zone), sent_on)


def _state(invitation: Invitation, told: Told, at: datetime) -> LinkState:
    invitation.assignment = told.assignment  # known already: saves a query for each row
    return link_state(invitation, at=at)


def _mail_words(reach: Reach, sent_on: date | None) -> str:
    if reach.mail_failed:
        return "email failed"
    if reach.mail_waiting:
        return "email waiting to go out"
    return f"emailed {short_day(sent_on)}" if sent_on else "no email yet"


def _link_words(told: Told, at: datetime, zone: ZoneInfo) -> str:
    invitation, printed = told.invitation, told.sheet_at
    if printed and (invitation is None or printed >= invitation.recorded_at):
        return f"sheet printed {short_day(local_date(printed, zone))}, not back yet"
    if invitation is None:
        return "no link sent"
    state = _state(invitation, told, at)
    message = getattr(invitation, "message", None)
    if message and message.state == Unknown.NOT_ON_RECORD:
        return "a link was written; whether it had gone out by then is not on record"
    if message and message.state == MessageState.FAILED:
        return "the email with the link failed"
    if message and message.state == MessageState.AMBIGUOUS:
        return "the email with the link may not have arrived, quiz not begun"
    if state == LinkState.EXPIRED:
        return f"link expired {short_day(local_date(invitation.expires_at, zone))}, quiz not begun"
    if state != LinkState.GOOD:
        return "the link sent no longer works, quiz not begun"
    if message and message.sent_at:
        return f"link sent {short_day(local_date(message.sent_at, zone))}, quiz not begun"
    return "link not sent yet: the email is waiting"
