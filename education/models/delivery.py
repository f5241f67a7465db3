"""What came back: mails in the programme's mailbox, what is told of emails that went out, and
addresses at which nothing arrives.
"""

from datetime import datetime
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q

from education.models.reaching import Message
from education.rules.delivery import Told, Why
from education.rules.incoming_mail import Kind
from patients.models import AppendOnly, Patient

TO_LOOK_AT = (Kind.ANSWER, Kind.BOUNCE, Kind.UNREADABLE)


class ReceivedMailQuerySet(models.QuerySet["ReceivedMail"]):
    def to_look_at(self) -> Self:
        """What a person has to look at: answers, and what no machine can read."""
        later = ReceivedSettled.objects.filter(received=OuterRef("received"), id__gt=OuterRef("id"))
        settled = ReceivedSettled.objects.filter(~Exists(later), received=OuterRef("pk"))
        return self.for_people().filter(~Exists(settled.filter(settled=True)))

    def for_people(self) -> Self:
        """Answers, and what no machine can read, whether anybody has looked at it or not."""
        unread = Q(kind=Kind.UNREADABLE) | Q(kind=Kind.BOUNCE, events__isnull=True)
        return self.filter(Q(kind=Kind.ANSWER) | unread)


class ReceivedMail(AppendOnly):
    """One mail of the programme's mailbox, taken once; the mail itself stays with the mail server.

    `text`: what somebody wrote, of an answer alone. `key`: by which the same mail is known again.
    """

    key = models.CharField(max_length=64, unique=True)
    kind = models.CharField(max_length=12, choices=[(k, k) for k in Kind])
    message = models.ForeignKey(
        Message, null=True, on_delete=models.PROTECT, related_name="received"
    )
    from_address = models.CharField(max_length=254, blank=True)
    subject = models.CharField(max_length=200, blank=True)
    text = models.TextField(max_length=4000, blank=True)
    problem = models.CharField(max_length=200, blank=True)
    taken_from = models.CharField(max_length=200)
    sent_at = models.DateTimeField(null=True)
    recorded_at = models.DateTimeField()

    objects = ReceivedMailQuerySet.as_manager()

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=list(Kind)), name="received_kind_known")
        ]
        indexes = [
            models.Index(
                fields=["id"], condition=Q(kind__in=TO_LOOK_AT), name="received_to_look_at"
            )
        ]


class ReceivedSettled(AppendOnly):
    """A mail was dealt with, or is to be looked at again; the latest row is in force."""

    received = models.ForeignKey(ReceivedMail, on_delete=models.PROTECT, related_name="settlings")
    settled = models.BooleanField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recorded_at", "id"]


class DeliveryEvent(AppendOnly):
    """Somebody told what became of an email. Without a message: of none of ours.

    `key`: by which the same report is known again. `source`: the mailbox, or who sends for us.
    """

    key = models.CharField(max_length=64, unique=True)
    message = models.ForeignKey(
        Message, null=True, on_delete=models.PROTECT, related_name="delivery_events"
    )
    kind = models.CharField(max_length=12, choices=[(t, t) for t in Told])
    status = models.CharField(max_length=12, blank=True)
    said = models.CharField(max_length=300, blank=True)
    source = models.CharField(max_length=40)
    received = models.ForeignKey(
        ReceivedMail, null=True, on_delete=models.PROTECT, related_name="events"
    )
    happened_at = models.DateTimeField()
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=list(Told)), name="delivery_kind_known")
        ]


class AddressMarkQuerySet(models.QuerySet["AddressMark"]):
    def in_force(self, *, known_at: datetime | None = None) -> Self:
        """Marks that nobody has ended, or that nobody had before the instant `known_at`."""
        if known_at is None:
            return self.filter(end__isnull=True)
        return self.filter(recorded_at__lt=known_at).exclude(end__recorded_at__lt=known_at)


class AddressMark(AppendOnly):
    """Nothing more goes to an address, and why; it holds for every patient who has it.

    `address` is in lower case. The evidence: which email, and what was told of it (none where the
    mail server itself refused the recipient).
    """

    address = models.EmailField(max_length=254, db_index=True)
    why = models.CharField(max_length=12, choices=[(w, w) for w in Why])
    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="address_marks")
    message = models.ForeignKey(Message, on_delete=models.PROTECT, related_name="address_marks")
    event = models.ForeignKey(
        DeliveryEvent, null=True, on_delete=models.PROTECT, related_name="address_marks"
    )
    recorded_at = models.DateTimeField()

    objects = AddressMarkQuerySet.as_manager()

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(why__in=list(Why)), name="address_mark_why_known")
        ]


class AddressMarkEnd(AppendOnly):
    """Somebody wants the address tried again, and why."""

    mark = models.OneToOneField(AddressMark, on_delete=models.PROTECT, related_name="end")
    reason = models.CharField(max_length=500)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="address_mark_end_reason")
        ]
