"""The programme's mail: what it sends of its own accord, when it is held, and what was decided."""

from datetime import time
from enum import StrEnum

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from education.models.assignments import Assignment
from education.models.reaching import Message
from patients.models import AppendOnly


class MailRules(AppendOnly):
    """What the programme sends without anybody asking for it; the latest row is in force.

    `reminders` and `closing_days` are read by `education.mail_rules`.
    """

    invites = models.BooleanField(default=False)
    reminders = models.JSONField(default=list)
    # Local times between which nothing goes out that nobody asked for, over midnight.
    quiet_from = models.TimeField(default=time(20, 0))
    quiet_until = models.TimeField(default=time(8, 0))
    weekly_cap = models.PositiveSmallIntegerField(default=3)
    federal_holidays = models.BooleanField(default=True)
    closing_days = models.JSONField(default=list)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(quiet_until__lt=F("quiet_from")), name="mail_rules_leave_a_day"
            ),
            models.CheckConstraint(condition=Q(weekly_cap__gte=1), name="mail_rules_cap"),
        ]


class Reminder(AppendOnly):
    """Which reminder a message is: of which assignment, by which rule, with which clear-by date.

    `days_before`: the rule's, counted from the clear-by date; negative after it.
    """

    message = models.OneToOneField(Message, on_delete=models.PROTECT, related_name="reminder")
    assignment = models.ForeignKey(
        Assignment, on_delete=models.PROTECT, related_name="reminders_sent"
    )
    days_before = models.SmallIntegerField()
    clear_by = models.DateField()
    recorded_at = models.DateTimeField()


class DailyRun(models.Model):
    """A daily job on one local date: it runs once, whoever asks and however often.

    Work in progress until `finished_at`. Whoever holds the lease runs it; a runner that dies lets
    it run out. `problem`: why it is parked, after five tries; `set_aside_at`: left undone for good.
    """

    job = models.CharField(max_length=40)
    on = models.DateField()
    lease_until = models.DateTimeField(null=True)
    tries = models.PositiveSmallIntegerField(default=0)
    problem = models.CharField(max_length=200, blank=True)
    recorded_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True)
    set_aside_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["on", "job"]
        constraints = [models.UniqueConstraint(fields=["job", "on"], name="daily_run_once")]


class MailHold(AppendOnly):
    """All mail is held, or released again, and why; the latest row is in force."""

    held = models.BooleanField()
    reason = models.CharField(max_length=500)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="mail_hold_reason")]


class MailVerdict(StrEnum):
    """What a person decided about an email that failed, or may have gone out."""

    SEND_AGAIN = "send_again"
    TAKE_AS_SENT = "take_as_sent"


class MailDecision(AppendOnly):
    """A person decided about one email."""

    message = models.ForeignKey(Message, on_delete=models.PROTECT, related_name="decisions")
    verdict = models.CharField(max_length=12, choices=[(v, v) for v in MailVerdict])
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(verdict__in=list(MailVerdict)), name="mail_verdict_known"
            )
        ]


class EmailText(AppendOnly):
    """The programme's own words of one email in one language; the latest row is in force.

    Only what stands around the protected parts. Empty words with `original`: back to the original.
    """

    name = models.CharField(max_length=40)
    language = models.CharField(max_length=8)
    subject = models.CharField(max_length=120, blank=True)
    before = models.TextField(max_length=2000, blank=True)
    after = models.TextField(max_length=2000, blank=True)
    original = models.BooleanField(default=False)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["recorded_at", "id"]
        indexes = [models.Index(fields=["name", "language", "id"], name="email_text_latest")]


class MailboxLook(models.Model):
    """When the programme's mailbox was looked at last, and whether it could be read.

    Work in progress: one row for each mailbox. `read_at`: the last time it could.
    """

    name = models.CharField(max_length=200, unique=True)
    looked_at = models.DateTimeField()
    read_at = models.DateTimeField(null=True)
    problem = models.CharField(max_length=200, blank=True)
