"""What the mail page shows: what waits, what failed and why, what is in doubt, what went out."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from django.core.paginator import Page, Paginator
from django.db.models import Count, Q, QuerySet

from clinic.mail_words import PURPOSE
from education import mail_hold
from education.daily import parked
from education.mail_decisions import TO_DECIDE
from education.models import DailyRun, MailHold, Message, MessageState
from education.reminders import DAILY_MAIL
from patients.models import latest_first

ROWS = 50
# What failed longer ago is history, and stands on the patient's page.
LATELY = timedelta(days=30)


class Show(StrEnum):
    """The lists of the page."""

    DECIDE = "decide"  # failed, or in doubt
    WAITING = "waiting"
    SENT = "sent"
    WITHDRAWN = "withdrawn"


ORDER = {Show.WAITING: ("next_try_at", "id"), Show.SENT: ("-sent_at", "-id")}


@dataclass(frozen=True)
class MailRow:
    """One email; `what` says what it carries. `in_doubt`: it may have gone out."""

    message: Message
    what: str
    in_doubt: bool
    may_send_again: bool


@dataclass(frozen=True)
class MailPage:
    """The page as it is at an instant; `counts` by list."""

    show: Show
    counts: dict[Show, int]
    page: Page[Message]
    rows: list[MailRow]
    hold: MailHold | None
    holds: list[MailHold]
    parked: list[DailyRun]
    last_run: DailyRun | None

    @property
    def in_doubt(self) -> bool:
        """Whether an email of this page may have gone out."""
        return any(row.in_doubt for row in self.rows)


def read(show: Show, number: str | None, *, at: datetime) -> MailPage:
    """Read one page of one list."""
    counts = Message.objects.aggregate(
        **{str(one): Count("pk", filter=_of(one, at)) for one in Show}
    )
    found = (
        Message.objects.filter(_of(show, at))
        .select_related("patient", "plan_link__operation__patient")
        .order_by(*ORDER.get(show, ("-recorded_at", "-id")))
    )
    page = Paginator(found, ROWS).get_page(number)
    holds: QuerySet[MailHold] = MailHold.objects.select_related("by").order_by(*latest_first())
    finished = DailyRun.objects.filter(job=DAILY_MAIL, finished_at__isnull=False)
    return MailPage(
        show=show,
        counts={one: counts[str(one)] for one in Show},
        page=page,
        rows=[_row(message) for message in page.object_list],
        hold=mail_hold.in_force(),
        holds=list(holds[:10]),
        parked=parked(),
        last_run=finished.order_by("-on").first(),
    )


def _of(show: Show, at: datetime) -> Q:
    match show:
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
