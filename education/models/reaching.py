"""How a patient is reached: personal links, and the emails that carry them."""

from enum import StrEnum

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Upper

from education.rules.quiz_way import Way
from patients.models import AppendOnly, Patient


class Invitation(AppendOnly):
    """Leave to take a module's quiz, given to one patient: a personal link sent to one address.

    By another way than the link there is no address: a printed sheet, a shared screen in the
    clinic, a call. What is asked of links asks for `way=Way.LINK`.
    """

    assignment = models.ForeignKey(
        "Assignment", on_delete=models.PROTECT, related_name="invitations"
    )
    way = models.CharField(
        max_length=8, default=Way.LINK, db_default=Way.LINK, choices=[(w, w) for w in Way]
    )
    address = models.EmailField(max_length=254, blank=True)
    expires_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(way__in=list(Way)), name="invitation_way_known"),
            models.CheckConstraint(
                condition=Q(way=Way.LINK) | Q(address="", by__isnull=False),
                name="invitation_other_way_by_staff",
            ),
        ]

    @property
    def patient(self) -> Patient:
        """Whose it is."""
        return self.assignment.operation.patient

    @property
    def over(self) -> bool:
        """Whether the module is not asked for any more."""
        return self.assignment.closed

    @property
    def emails(self) -> Q:
        """The emails that carry it: the one that invited, and the reminders."""
        return Q(invitation=self) | Q(reminds=self)


class QuizCode(AppendOnly):
    """The short code of a printed sheet or of a shared screen, and the language it was made for.

    A sheet's opens nothing to anybody but staff; a screen's is traded for a token, once.
    """

    invitation = models.OneToOneField(Invitation, on_delete=models.PROTECT, related_name="code")
    code = models.CharField(max_length=8, unique=True)
    language = models.CharField(max_length=8)
    recorded_at = models.DateTimeField()


class InvitationToken(AppendOnly):
    """The SHA-256 of a token of one email, or screen; the token itself is never stored."""

    invitation = models.ForeignKey(Invitation, on_delete=models.PROTECT, related_name="tokens")
    digest = models.CharField(max_length=64, unique=True)
    recorded_at = models.DateTimeField()


class EndedBecause(StrEnum):
    REPLACED = "replaced"
    WITHDRAWN = "withdrawn"
    READDRESSED = "readdressed"  # the patient's address on file is another one now
    DONE = "done"  # the patient left the shared screen


class InvitationEnd(AppendOnly):
    """From here on the link is dead."""

    invitation = models.OneToOneField(Invitation, on_delete=models.PROTECT, related_name="end")
    because = models.CharField(max_length=12, choices=[(e, e) for e in EndedBecause])
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )


class MessageState(StrEnum):
    WAITING = "waiting"
    SENDING = "sending"
    SENT = "sent"
    AMBIGUOUS = "ambiguous"  # the mail server may have taken it: a person decides what follows
    FAILED = "failed"
    WITHDRAWN = "withdrawn"


class Message(models.Model):
    """One email to send, committed with the act that causes it (promise B2)."""

    purpose = models.CharField(max_length=60)
    patient = models.ForeignKey(
        Patient, null=True, on_delete=models.PROTECT, related_name="messages"
    )
    invitation = models.OneToOneField(
        Invitation, null=True, on_delete=models.PROTECT, related_name="message"
    )
    plan_link = models.OneToOneField(
        "PlanLink", null=True, on_delete=models.PROTECT, related_name="message"
    )
    # A reminder of an invitation that went out before: another token of the same link.
    reminds = models.ForeignKey(
        Invitation, null=True, on_delete=models.PROTECT, related_name="reminders"
    )
    address = models.EmailField(max_length=254)
    language = models.CharField(max_length=8)
    message_id = models.CharField(max_length=120, unique=True)
    # What whoever sends for us calls it, where that is not the Message-ID.
    hosted_id = models.CharField(max_length=200, blank=True, default="", db_default="")
    state = models.CharField(
        max_length=12, default=MessageState.WAITING, choices=[(s, s) for s in MessageState]
    )
    tries = models.PositiveSmallIntegerField(default=0)
    next_try_at = models.DateTimeField()
    lease_until = models.DateTimeField(null=True)
    problem = models.CharField(max_length=200, blank=True)
    recorded_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True)
    # The local day that it is for, where a patient gets one of its purpose a day at most.
    for_day = models.DateField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["patient", "purpose", "for_day"],
                condition=Q(for_day__isnull=False) & ~Q(state=MessageState.WITHDRAWN),
                name="message_once_a_day",
            ),
            models.CheckConstraint(
                condition=Q(state__in=list(MessageState)), name="message_state_known"
            ),
            models.CheckConstraint(
                condition=~Q(state=MessageState.SENT) | Q(sent_at__isnull=False),
                name="message_sent_has_time",
            ),
        ]
        indexes = [
            models.Index(
                fields=["next_try_at"],
                condition=Q(state__in=[MessageState.WAITING, MessageState.SENDING]),
                name="message_to_send",
            ),
            models.Index(fields=["hosted_id"], condition=~Q(hosted_id=""), name="message_hosted"),
            # As PostgreSQL compares addresses without regard to case (iexact).
            models.Index(Upper("address"), name="message_address"),
        ]
