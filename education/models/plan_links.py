"""The eating plan behind a personal link: the link, its calendar, what the patient ticked, and who
was told that the dates are others.
"""

from enum import StrEnum

from django.conf import settings
from django.db import models
from django.db.models import Q

from education.models.reaching import EndedBecause
from patients.models import AppendOnly, Booking, Operation, Patient


class PlanLink(AppendOnly):
    """A personal link to the eating plan of one operation, sent to a patient at one address.

    `or_date`: the OR date that the patient knew of when it was sent; the page says when it is
    another one now, from which to which.
    """

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="plan_links")
    address = models.EmailField(max_length=254)
    or_date = models.DateField()
    expires_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["recorded_at", "id"]

    @property
    def patient(self) -> Patient:
        """Whose it is."""
        return self.operation.patient

    @property
    def over(self) -> bool:
        """Whether the operation is cancelled; one that moved does not end its plan."""
        return self.operation.booking == Booking.CANCELLED

    @property
    def emails(self) -> Q:
        """The email that carries it."""
        return Q(plan_link=self)


class PlanLinkToken(AppendOnly):
    """The SHA-256 of a token that was put into one email; the token itself is never stored."""

    link = models.ForeignKey(PlanLink, on_delete=models.PROTECT, related_name="tokens")
    digest = models.CharField(max_length=64, unique=True)
    recorded_at = models.DateTimeField()


class PlanLinkEnd(AppendOnly):
    """From here on the link is dead."""

    link = models.OneToOneField(PlanLink, on_delete=models.PROTECT, related_name="end")
    because = models.CharField(max_length=12, choices=[(e, e) for e in EndedBecause])
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )


class PlanFeed(AppendOnly):
    """A private address of the plan's calendar, which the patient made; its SHA-256 alone is kept.

    `number` tells the feeds of one link apart. `with_operation`: the patient asked that the day of
    the operation be named.
    """

    link = models.ForeignKey(PlanLink, on_delete=models.PROTECT, related_name="feeds")
    number = models.PositiveSmallIntegerField()
    digest = models.CharField(max_length=64, unique=True)
    with_operation = models.BooleanField()
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["link", "number"]
        constraints = [
            models.UniqueConstraint(fields=["link", "number"], name="plan_feed_numbered")
        ]


class PlanFeedEnd(AppendOnly):
    """The patient ended the address."""

    feed = models.OneToOneField(PlanFeed, on_delete=models.PROTECT, related_name="end")
    recorded_at = models.DateTimeField()


class ToldBy(StrEnum):
    """How a patient who has the plan was told that the OR date is another one."""

    EMAIL = "email"
    PHONE = "phone"
    PRINT = "print"
    NOT_YET = "not_yet"  # no email can tell: somebody has to
    NOT_NEEDED = "not_needed"  # moved back before the patient heard of it


class PlanDateTold(AppendOnly):
    """The OR date of a patient who has the plan is another one, and how the patient is told.

    The latest row of an operation is in force. `or_date`: the one that holds now, None for no date
    or a cancelled operation; `before`: the one that the patient knew of. By email it is the message
    of `link` that tells.
    """

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="dates_told")
    before = models.DateField(null=True)
    or_date = models.DateField(null=True)
    means = models.CharField(max_length=12, choices=[(t, t) for t in ToldBy])
    link = models.OneToOneField(
        PlanLink, null=True, on_delete=models.PROTECT, related_name="date_told"
    )
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(means__in=list(ToldBy)), name="date_told_means"),
            models.CheckConstraint(
                condition=Q(means=ToldBy.EMAIL, link__isnull=False)
                | (~Q(means=ToldBy.EMAIL) & Q(link__isnull=True)),
                name="date_told_by_email_has_link",
            ),
        ]


class PlanTick(models.Model):
    """What the patient says was done on a day; work in progress: taken back, it is gone."""

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="plan_ticks")
    day = models.DateField()
    item = models.CharField(max_length=20)
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["day", "item"]
        constraints = [
            models.UniqueConstraint(fields=["operation", "day", "item"], name="plan_tick_once")
        ]
