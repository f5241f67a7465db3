"""Write the invitations and reminders that nobody asks for, once a day; say what is to come."""

import logging
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction
from django.db.models import Q

from education import mail_rules
from education.addresses import marks_of
from education.daily import once_a_day
from education.invite import REMINDER, Refusal, invite
from education.models import (
    Assignment,
    Edition,
    Invitation,
    MailRules,
    Message,
    MessageState,
    Reminder,
)
from education.new_message import new_message
from education.personal_link import LinkState, link_state
from education.rules.who_is_written_to import (
    Case,
    Decision,
    Mail,
    PastReminder,
    ReminderRule,
    What,
    forecast,
    who_is_written_to,
)
from education.standings import Told, standings
from patients import programme
from patients.batches import batches
from patients.clock import end_of_day, local_date
from patients.models import Programme
from patients.wake import wake

log = logging.getLogger(__name__)

DAILY_MAIL = "mail"
WEEK = timedelta(days=7)
NOT_GOING = (MessageState.WITHDRAWN, MessageState.FAILED)
MAIL = {
    MessageState.WAITING: Mail.ON_ITS_WAY,
    MessageState.SENDING: Mail.ON_ITS_WAY,
    MessageState.SENT: Mail.WENT_OUT,
    MessageState.AMBIGUOUS: Mail.UNSURE,
    MessageState.FAILED: Mail.FAILED,
    MessageState.WITHDRAWN: Mail.NONE,
}


@dataclass(frozen=True)
class Gathered:
    """The assignments that may be written about, by id, and the days of what was written."""

    cases: list[Case]
    told: dict[int, Told]
    written: dict[int, list[date]]


def daily_mail(*, at: datetime) -> bool:
    """Write today's invitations and reminders, unless that was done or it is a quiet hour.

    Called every few minutes by every scheduler there is. True if this call wrote them.
    """
    try:
        used = programme.current()
    except programme.NotFounded:
        return False
    rules = mail_rules.current()
    if mail_rules.not_quiet(at, rules, used.zone) != at:
        return False
    on = local_date(at, used.zone)
    return once_a_day(DAILY_MAIL, on=on, at=at, act=lambda: write(at=at, rules=rules, used=used))


def write(*, at: datetime, rules: MailRules, used: Programme) -> int:
    """Write the emails of the day of `at`; safe to run twice. Returns how many were written."""
    on = local_date(at, used.zone)
    settings = mail_rules.settings_of(rules, used, on=on)
    if not settings.invites and not settings.reminders:
        return 0
    found = gather(on=on, until=on, used=used)
    decisions = who_is_written_to(found.cases, found.written, on=on, settings=settings)
    wanted = [decision for decision in decisions if decision.what is not None]
    count = sum(_write(one, found.told[one.case.id], at=at, on=on) for one in wanted)
    if count:
        wake("education.tasks.sweep_messages")
    return count


def preview(
    rules: MailRules, *, at: datetime, days: int
) -> tuple[Gathered, list[tuple[date, list[Decision]]]]:
    """Return what rules, saved or not, would send on each of so many days; writes nothing."""
    used = programme.current()
    on = local_date(at, used.zone)
    settings = mail_rules.settings_of(rules, used, on=on)
    found = gather(on=on, until=on + timedelta(days=days - 1), used=used)
    return found, list(forecast(found.cases, found.written, on=on, days=days, settings=settings))


def gather(*, on: date, until: date, used: Programme) -> Gathered:
    """Read every assignment that is open by `until` and not cleared, and what was written."""
    rows = (
        Assignment.objects.wanting_attention(on=on)
        .filter(opens_on__lte=until)
        .exclude(pk__in=Assignment.objects.cleared().values("pk"))
        .select_related("operation__patient", "module")
        .order_by("pk")
    )
    published = set(Edition.objects.order_by().values_list("module", flat=True).distinct())
    cases, told = [], {}
    for some in batches(rows.iterator(chunk_size=500)):
        reminded = _reminded([one.pk for one in some])
        marked = marks_of({one.operation.patient.email for one in some})
        for one in standings(some, on=on):
            told[one.assignment.pk] = one
            past = reminded.get(one.assignment.pk, [])
            ready = one.assignment.module_id in published
            case = _case(one, past, zone=used.zone, published=ready)
            address = one.assignment.operation.patient.email.lower()
            cases.append(replace(case, mail=Mail.BLOCKED) if address in marked else case)
    written = _written({case.patient for case in cases}, on=on, zone=used.zone)
    return Gathered(cases, told, written)


def _case(told: Told, reminded: list[Reminder], *, zone: ZoneInfo, published: bool) -> Case:
    patient = told.assignment.operation.patient
    mail, invited_on = _link(told.invitation, patient.email, zone)
    latest = reminded[-1].message if reminded else None
    link = told.invitation
    # A link that was sent anew since says more than the reminder of the one before.
    if invited_on and link and latest and latest.recorded_at >= link.recorded_at:
        mail = MAIL[MessageState(latest.state)]
    return Case(
        id=told.assignment.pk,
        patient=patient.pk,
        facts=told.facts,
        has_email=bool(patient.email),
        published=published,
        mail=mail,
        invited_on=invited_on,
        reminded=tuple(PastReminder(one.days_before, one.clear_by) for one in reminded),
    )


def _link(invitation: Invitation | None, address: str, zone: ZoneInfo) -> tuple[Mail, date | None]:
    """Say what became of the latest link's email, and on which day it was sent."""
    if invitation is None or hasattr(invitation, "end"):
        return Mail.NONE, None
    message = getattr(invitation, "message", None)
    if invitation.address.lower() != address.lower() or message is None:
        return Mail.NONE, None
    mail = MAIL[MessageState(message.state)]
    if mail == Mail.NONE:
        return mail, None
    return mail, local_date(message.sent_at or message.recorded_at, zone)


def _reminded(assignments: Sequence[int]) -> dict[int, list[Reminder]]:
    """Return the reminders of each assignment that went out or are to go, oldest first."""
    rows = Reminder.objects.filter(assignment__in=assignments).exclude(
        message__state=MessageState.WITHDRAWN
    )
    found: dict[int, list[Reminder]] = defaultdict(list)
    for row in rows.select_related("message").order_by("recorded_at", "id"):
        found[row.assignment_id].append(row)
    return found


def _written(patients: set[int], *, on: date, zone: ZoneInfo) -> dict[int, list[date]]:
    """Return by patient the days of the last week on which an email to them was written."""
    since = end_of_day(on - WEEK, zone)
    found: dict[int, list[date]] = defaultdict(list)
    for some in batches(sorted(patients)):
        rows = Message.objects.filter(
            Q(patient__in=some) | Q(patient__merged_into__in=some),
            Q(for_day__gt=on - WEEK) | Q(for_day__isnull=True, recorded_at__gte=since),
        ).exclude(state__in=NOT_GOING)
        columns = ("patient", "patient__merged_into", "for_day", "recorded_at")
        for patient, kept, for_day, recorded_at in rows.values_list(*columns):
            found[kept or patient].append(for_day or local_date(recorded_at, zone))
    return found


def _write(decision: Decision, told: Told, *, at: datetime, on: date) -> bool:
    """Write one email in a transaction of its own: what cannot be written stops no other one."""
    try:
        with transaction.atomic():
            if decision.rule is not None and told.invitation is not None:
                return remind(told.assignment, told.invitation, decision.rule, at=at, on=on)
            if decision.what != What.INVITATION:
                return False
            return not isinstance(invite(told.assignment, at=at, for_day=on), Refusal)
    except IntegrityError:
        return False  # another runner has written today's email to this patient
    except Exception:
        log.exception("No email was written for assignment %s", told.assignment.pk)
        return False


def remind(
    assignment: Assignment, invitation: Invitation, rule: ReminderRule, *, at: datetime, on: date
) -> bool:
    """Write a reminder: of the link that went out if it still works, else with a new one."""
    clear_by = assignment.clear_by
    patient = assignment.operation.patient
    if clear_by is None:
        return False
    invitation.assignment = assignment  # known already: saves reading it again
    if link_state(invitation, at=at) == LinkState.GOOD:
        message = new_message(REMINDER, at=at, patient=patient, for_day=on, reminds=invitation)
        message.save()
    else:
        invited = invite(assignment, at=at, for_day=on, purpose=REMINDER)
        if isinstance(invited, Refusal):
            return False
        message = Message.objects.get(invitation=invited)
    Reminder.objects.create(
        message=message,
        assignment=assignment,
        days_before=rule.days_before,
        clear_by=clear_by,
        recorded_at=at,
    )
    return True
