"""What the mail page shows: what waits, what failed and why, what is in doubt, what went out."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from django.core.paginator import Page, Paginator
from django.db.models import Count, Q, QuerySet

from clinic.bad_addresses import BadAddress, bad_addresses, with_marked_address
from clinic.mail_answers import AnswerRow, answers, automatic
from clinic.mail_words import PURPOSE
from education import mail_hold
from education.daily import parked
from education.mail_decisions import TO_DECIDE
from education.models import (
    DailyRun,
    DeliveryEvent,
    MailboxLook,
    MailHold,
    Message,
    MessageState,
    ReceivedMail,
)
from education.reminders import DAILY_MAIL
from patients import programme
from patients.clock import local_date
from patients.models import latest_first

ROWS = 50
# What failed longer ago is history, and stands on the patient's page.
LATELY = timedelta(days=30)


class Show(StrEnum):
    """The lists of the page."""

    DECIDE = "decide"  # failed, or in doubt
    ADDRESSES = "addresses"  # at which nothing arrives
    ANSWERS = "answers"  # what people wrote back
    WAITING = "waiting"
    SENT = "sent"
    WITHDRAWN = "withdrawn"


EMAILS = (Show.DECIDE, Show.WAITING, Show.SENT, Show.WITHDRAWN)
ORDER = {Show.WAITING: ("next_try_at", "id"), Show.SENT: ("-sent_at", "-id")}


@dataclass(frozen=True)
class MailRow:
    """One email; `what` says what it carries. `in_doubt`: it may have gone out."""

    message: Message
    what: str
    in_doubt: bool
    may_send_again: bool

    @property
    def to_patient(self) -> bool:
        """Whether it went to the patient's present address, and not to staff about them."""
        patient = self.message.patient
        return patient is not None and patient.email.lower() == self.message.address.lower()


@dataclass(frozen=True)
class CameBack:
    """What the lists of addresses and answers show, and how well the mailbox can be read.

    `automatic`: what machines replied in the last weeks, out of office say; no answers.

    `of_none_of_ours`: reports of the last weeks that are about no email of ours.
    """

    addresses: list[BadAddress]
    answers: list[AnswerRow]
    automatic: list[AnswerRow]
    looks: list[MailboxLook]
    of_none_of_ours: int


@dataclass(frozen=True)
class MailPage:
    """The page as it is at an instant; `counts` by list."""

    show: Show
    counts: dict[Show, int]
    page: Page[Message] | Page[ReceivedMail]
    rows: list[MailRow]
    hold: MailHold | None
    holds: list[MailHold]
    parked: list[DailyRun]
    last_run: DailyRun | None
    came_back: CameBack

    @property
    def in_doubt(self) -> bool:
        """Whether an email of this page may have gone out."""
        return any(row.in_doubt for row in self.rows)


def read(show: Show, number: str | None, *, settled: bool = False, at: datetime) -> MailPage:
    """Read one page of one list; `settled`: of answers, those that were dealt with."""
    zone = programme.current().zone
    on = local_date(at, zone)
    counts = Message.objects.aggregate(
        **{str(one): Count("pk", filter=_of(one, at)) for one in EMAILS}
    )
    counts[Show.ADDRESSES] = with_marked_address().count()
    counts[Show.ANSWERS] = ReceivedMail.objects.to_look_at().count()
    found = (
        Message.objects.filter(_of(show, at) if show in EMAILS else Q(pk__in=()))
        .select_related("patient", "plan_link__operation__patient")
        .order_by(*ORDER.get(show, ("-recorded_at", "-id")))
    )
    page: Page[Message] = Paginator(found, ROWS).get_page(number)
    rows = [_row(message) for message in page.object_list]
    listed: Page[Message] | Page[ReceivedMail] = page
    replies: list[AnswerRow] = []
    by_themselves: list[AnswerRow] = []
    if show == Show.ANSWERS:
        listed, replies = answers(number, settled=settled)
        by_themselves = automatic(since=at - LATELY)
    everywhere = show == Show.ADDRESSES
    bad = bad_addresses(on=on, zone=zone, coming=False) if everywhere else []
    holds: QuerySet[MailHold] = MailHold.objects.select_related("by").order_by(*latest_first())
    finished = DailyRun.objects.filter(job=DAILY_MAIL, finished_at__isnull=False)
    strange = DeliveryEvent.objects.filter(message=None, recorded_at__gte=at - LATELY)
    return MailPage(
        show=show,
        counts={one: counts[str(one)] for one in Show},
        page=listed,
        rows=rows,
        hold=mail_hold.in_force(),
        holds=list(holds[:10]),
        parked=parked(),
        last_run=finished.order_by("-on").first(),
        came_back=CameBack(
            bad, replies, by_themselves, list(MailboxLook.objects.all()), strange.count()
        ),
    )


def _of(show: Show, at: datetime) -> Q:
    match show:
        case Show.ADDRESSES | Show.ANSWERS:
            return Q(pk__in=())
        case Show.DECIDE:
            not_ended = Q(invitation__isnull=True) | Q(invitation__end__isnull=True)
            failed = Q(state=MessageState.FAILED, recorded_at__gte=at - LATELY) & not_ended
            return failed | Q(state=MessageState.AMBIGUOUS)
        case Show.WAITING:
            return Q(state__in=[MessageState.WAITING, MessageState.SENDING])
        case Show.SENT:
            return Q(state=MessageState.SENT)
        case Show.WITHDRAWN:
            return Q(state=MessageState.WITHDRAWN)


def _row(message: Message) -> MailRow:
    return MailRow(
        message=message,
        what=PURPOSE.get(message.purpose, "look again at the schedule"),
        in_doubt=message.state == MessageState.AMBIGUOUS,
        may_send_again=message.state in TO_DECIDE,
    )
