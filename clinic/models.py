"""The staff's own records: who they are, what was confirmed, and the trail of who saw what."""

from enum import StrEnum
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models.functions import Lower

from patients.models import AppendOnly, Operation, Patient


class Role(StrEnum):
    DIETITIAN = "dietitian"
    CLINICIAN = "clinician"
    COORDINATOR = "coordinator"
    ADMINISTRATOR = "administrator"
    AUDITOR = "auditor"


class StaffUserManager(BaseUserManager["StaffUser"]):
    def create_user(self, email: str, name: str, role: str, password: str) -> "StaffUser":
        """Make a member of staff. Raises ValueError for an unknown role."""
        user = self.model(email=email.strip().lower(), name=name, role=Role(role))
        user.set_password(password)
        user.save(using=self._db)
        return user

    def get_by_natural_key(self, username: str | None) -> "StaffUser":
        return self.get(email__iexact=username)


class StaffUser(AbstractBaseUser):
    """A member of staff. Never deleted, only disabled: records point at who decided."""

    email = models.EmailField(max_length=254, unique=True)
    name = models.CharField(max_length=120)
    role = models.CharField(max_length=16, choices=[(r, r.capitalize()) for r in Role])
    is_active = models.BooleanField(default=True)

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name", "role"]
    objects = StaffUserManager()

    class Meta:
        constraints = [
            models.UniqueConstraint(Lower("email"), name="staff_email_once"),
            models.CheckConstraint(
                condition=models.Q(role__in=list(Role)), name="staff_role_known"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_full_name(self) -> str:
        return self.name


class Confirmation(AppendOnly):
    """An OR date confirmed: what the rule said at that instant, and who confirmed against it."""

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="confirmations")
    or_date = models.DateField()
    version = models.PositiveIntegerField()
    word = models.CharField(max_length=12)
    reasons = models.JSONField(default=list)
    against_hold = models.BooleanField()
    clinician = models.CharField(max_length=120, blank=True)
    clinician_reason = models.CharField(max_length=500, blank=True)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(StaffUser, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(against_hold=False)
                | (~models.Q(clinician="") & ~models.Q(clinician_reason="")),
                name="confirmation_against_hold_is_named",
            )
        ]


class ActDone(models.Model):
    """A form that was already sent: the second sending of the same form does nothing."""

    key = models.UUIDField(primary_key=True)
    outcome = models.CharField(max_length=500, default="/")
    by = models.ForeignKey(StaffUser, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()


class TrailEntry(AppendOnly):
    """Who saw or changed what, when and from where; each entry carries the hash of the last."""

    recorded_at = models.DateTimeField()
    by = models.ForeignKey(StaffUser, null=True, on_delete=models.PROTECT, related_name="+")
    act = models.CharField(max_length=60)
    patient = models.ForeignKey(Patient, null=True, on_delete=models.PROTECT, related_name="+")
    detail = models.JSONField(default=dict)
    address = models.GenericIPAddressField(null=True)
    before = models.CharField(max_length=64, unique=True)
    hash = models.CharField(max_length=64, unique=True)

    class Meta:
        ordering = ["id"]

    def facts(self) -> dict[str, Any]:
        """Return what the hash is made of."""
        return {
            "at": self.recorded_at.isoformat(),
            "by": self.by_id,
            "act": self.act,
            "patient": self.patient_id,
            "detail": self.detail,
            "address": self.address,
            "before": self.before,
        }


class ScheduleUpload(models.Model):
    """A schedule file between its preview and its import.

    `seen` holds, for each row, a mark of the record as it was when the file came. The content is
    patients' facts: what nobody imported is deleted after a day (clinic.schedule_upload).
    """

    name = models.CharField(max_length=200)
    content = models.BinaryField()
    sha256 = models.CharField(max_length=64)
    seen = models.JSONField(default=list)
    recorded_at = models.DateTimeField(db_index=True)
    by = models.ForeignKey(StaffUser, on_delete=models.PROTECT, related_name="+")


class ScheduleImport(AppendOnly):
    """A schedule file imported: how its dates were read, and how many rows came to what."""

    upload = models.OneToOneField(ScheduleUpload, on_delete=models.PROTECT, related_name="imported")
    day_first = models.BooleanField(null=True)
    counts = models.JSONField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(StaffUser, on_delete=models.PROTECT, related_name="+")


class Alarm(models.Model):
    """Somebody was told that an OR date is not as it was confirmed; open until that is settled.

    One open row for each confirmation and cause, or operation and cause where the schedule alone
    confirmed it: nobody is told the same thing twice.
    """

    confirmation = models.ForeignKey(
        Confirmation, null=True, on_delete=models.PROTECT, related_name="alarms"
    )
    operation = models.ForeignKey(
        Operation, null=True, on_delete=models.PROTECT, related_name="alarms"
    )
    cause = models.CharField(max_length=24)
    recorded_at = models.DateTimeField()
    over_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["confirmation", "cause"],
                condition=models.Q(over_at__isnull=True),
                name="alarm_open_once",
            ),
            models.UniqueConstraint(
                fields=["operation", "cause"],
                condition=models.Q(over_at__isnull=True),
                name="alarm_of_schedule_open_once",
            ),
            models.CheckConstraint(
                condition=models.Q(confirmation__isnull=False, operation__isnull=True)
                | models.Q(confirmation__isnull=True, operation__isnull=False),
                name="alarm_of_one",
            ),
        ]


class CalendarFeed(models.Model):
    """The private address of one member's calendar feed: the SHA-256 of its token alone."""

    member = models.OneToOneField(StaffUser, on_delete=models.PROTECT, related_name="calendar_feed")
    digest = models.CharField(max_length=64, unique=True)
    recorded_at = models.DateTimeField()


class DigestHour(AppendOnly):
    """At which local hour a member of staff wants the morning digest; None: not at all.

    The latest row of a member is in force.
    """

    member = models.ForeignKey(StaffUser, on_delete=models.PROTECT, related_name="digest_hours")
    hour = models.PositiveSmallIntegerField(null=True)
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(hour__isnull=True) | models.Q(hour__range=(4, 12)),
                name="digest_hour_of_a_morning",
            )
        ]


class ProcessKind(StrEnum):
    WORKER = "worker"
    SCHEDULE = "schedule"  # the way from the scheduler over the broker to a worker


class ProcessSeen(models.Model):
    """When a worker, by its machine's name, or the schedule last got something done."""

    kind = models.CharField(max_length=10, choices=[(k, k) for k in ProcessKind])
    name = models.CharField(max_length=120)
    release = models.CharField(max_length=60)
    seen_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["kind", "name"], name="process_seen_once")]


class TaskTally(models.Model):
    """How often a task ran in all, how long that took, and how it ended of late."""

    task = models.CharField(max_length=120, unique=True)
    runs = models.PositiveBigIntegerField(default=0)
    failures = models.PositiveBigIntegerField(default=0)
    failures_in_a_row = models.PositiveIntegerField(default=0)
    seconds = models.FloatField(default=0.0)
    problem = models.CharField(max_length=200, blank=True)
    last_ended_at = models.DateTimeField(null=True)
    last_failed_at = models.DateTimeField(null=True)


class FailingTask(models.Model):
    """A task with ids that failed; parked after five times (clinic/parking.py).

    `ids`: its arguments, as JSON. Gone once it ends well, or a person takes it up again.
    """

    task = models.CharField(max_length=120)
    ids = models.CharField(max_length=200)
    failures = models.PositiveSmallIntegerField(default=0)
    problem = models.CharField(max_length=200, blank=True)
    last_failed_at = models.DateTimeField()
    parked_at = models.DateTimeField(null=True)
    set_aside_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["task", "ids"], name="failing_task_once")]
