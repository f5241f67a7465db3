"""The morning digest: one email at her hour, on working days, to each of staff who wants it.

It names no patient. One that could not be sent in time is not sent late: its member's own page says
so, and what it would have said is on the morning list.
"""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import partial

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.core.mail.backends.base import BaseEmailBackend
from django.db import transaction
from django.urls import reverse

from clinic.digests_missed import LOOKED_BACK, digests_missed, note_missed
from clinic.models import DigestHour, StaffUser
from clinic.morning import with_failed_mail
from education import emails, mail_rules
from education.daily import once_a_day
from education.models import Assignment, Clearance, DailyRun, Message, Submission
from education.new_message import new_message, wake_sender
from education.rules.standing import Standing
from education.rules.working_days import WorkingDays
from patients import programme
from patients.clock import end_of_day, local_date
from patients.models import OperationChange, Programme, latest_first
from patients.rules.languages import SOURCE_LANGUAGE

DIGEST = "digest"
HOURS = range(4, 13)
IN_TIME = timedelta(hours=1)  # afterwards it would be an afternoon's email about the morning
DAY = timedelta(days=1)


@dataclass(frozen=True)
class Counts:
    """What a digest says: how things stand on a day, and what came since the working day before."""

    on: date
    since: date
    standings: dict[Standing, int]
    undecided: int
    mail_failed: int
    cleared: int
    handed_in: int
    schedule: int


def connect() -> None:
    """Bring the email; called once when the app is ready."""
    emails.WITHOUT_LINK[DIGEST] = digest_email


def choose(member: StaffUser, hour: int | None, *, at: datetime) -> bool:
    """Switch the digest on for an hour, or off. False: it was so already."""
    with transaction.atomic():
        if hour_of(member) == hour:
            return False
        DigestHour.objects.create(member=member, hour=hour, recorded_at=at)
    return True


def hour_of(member: StaffUser) -> int | None:
    """Return the hour in force, None where the digest is off."""
    latest = member.digest_hours.order_by(*latest_first()).first()
    return latest.hour if latest else None


def write_digests(*, at: datetime) -> int:
    """Write the digests whose hour has come, and note those that were missed; once a local day.

    Called every few minutes by every scheduler there is. Returns how many were written.
    """
    try:
        used = programme.current()
    except programme.NotFounded:
        return 0
    on = local_date(at, used.zone)
    days = mail_rules.working_days(on)
    wanted = {}
    for row in DigestHour.objects.select_related("member").order_by("recorded_at", "id"):
        wanted[row.member_id] = row
    written = 0
    for row in wanted.values():
        if row.hour is None or not row.member.is_active:
            continue
        _note_missed(row, days, on=on, at=at, used=used)
        due = _due(on, row.hour, used)
        if days.is_one(on) and row.recorded_at <= due <= at:
            act = partial(_write, row.member, on=on, at=at, late=at - due > IN_TIME)
            written += once_a_day(_job(row.member_id), on=on, at=at, act=act)
    return written


def missed(member: StaffUser, *, on: date) -> list[date]:
    """Return the days of the last week whose digest was not sent, the latest first."""
    return list(digests_missed(member.pk, on=on).order_by("-on").values_list("on", flat=True))


def counts(on: date) -> Counts:
    """Count what a digest of a day says, from the records as they are now."""
    used = programme.current()
    since = mail_rules.working_days(on).last_up_to(on - DAY)
    begun = end_of_day(since - DAY, used.zone)
    return Counts(
        on=on,
        since=since,
        standings=Assignment.objects.wanting_attention(on=on).counts(
            on=on, notice_days=used.notice_days
        ),
        undecided=Submission.objects.undecided().count(),
        mail_failed=with_failed_mail(on=on).count(),
        cleared=Clearance.objects.filter(recorded_at__gte=begun, revocation__isnull=True).count(),
        handed_in=Submission.objects.filter(recorded_at__gte=begun).count(),
        schedule=OperationChange.objects.filter(recorded_at__gte=begun).count(),
    )


def digest_email(message: Message, *, connection: BaseEmailBackend) -> EmailMultiAlternatives:
    """Return the digest as things stand when it is sent."""
    found = counts(message.for_day or message.recorded_at.date())
    context: dict[str, object] = {
        "counts": found,
        "late": found.standings[Standing.LATE],
        "due": found.standings[Standing.DUE],
        "needs_sign_off": found.standings[Standing.NEEDS_SIGN_OFF],
        "link": settings.PUBLIC_URL + reverse("morning"),
    }
    return emails.written(message, DIGEST, context, connection=connection)


def _job(member_id: int) -> str:
    return f"digest:{member_id}"


def _due(on: date, hour: int, used: Programme) -> datetime:
    return datetime.combine(on, time(hour), tzinfo=used.zone)


def _note_missed(
    row: DigestHour, days: WorkingDays, *, on: date, at: datetime, used: Programme
) -> None:
    """Note the working days on which nothing ran at all since the digest was last written."""
    last = DailyRun.objects.filter(job=_job(row.member_id)).order_by("-on").first()
    chosen = local_date(row.recorded_at, used.zone)
    first = max(on - LOOKED_BACK, chosen, last.on + DAY if last else chosen)
    for day in (first + n * DAY for n in range((on - first).days)):
        due = _due(day, row.hour or 0, used)
        if days.is_one(day) and row.recorded_at <= due:
            note_missed(row.member_id, day, at=at)


def _write(member: StaffUser, *, on: date, at: datetime, late: bool) -> None:
    if late:
        note_missed(member.pk, on, at=at)
        return
    if Message.objects.filter(purpose=DIGEST, address=member.email, for_day=on).exists():
        return  # a runner that died had written it
    message = new_message(DIGEST, at=at, address=member.email, language=SOURCE_LANGUAGE, for_day=on)
    message.save()
    wake_sender(message.pk)
