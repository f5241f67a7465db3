"""What was said on the phone: teach-backs, and help asked for to reach a patient."""

from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q

from education.models.clearances import Clearance
from education.models.teaching import Edition, Question
from education.rules.escalation import EscalationEnded
from education.rules.teach_back import TeachBackOutcome
from patients.models import AppendOnly, Contact, Patient


class TeachBackQuerySet(models.QuerySet["TeachBack"]):
    def standing(self) -> Self:
        """Those that took place: nobody said that there was no such conversation."""
        return self.filter(contact__correction__isnull=True)


class TeachBack(AppendOnly):
    """A patient was asked to say it in their own words, and how that ended.

    `contact` is the conversation itself, with its day to go on; corrected as one that never was,
    it takes the teach-back with it. `one_more_attempt`: the quiz may be taken once more.
    """

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="teach_backs")
    assignment = models.ForeignKey(
        "Assignment", on_delete=models.PROTECT, related_name="teach_backs"
    )
    edition = models.ForeignKey(Edition, on_delete=models.PROTECT, related_name="+")
    outcome = models.CharField(max_length=12, choices=[(o, o) for o in TeachBackOutcome])
    contact = models.OneToOneField(Contact, on_delete=models.PROTECT, related_name="teach_back")
    clearance = models.OneToOneField(
        Clearance, null=True, on_delete=models.PROTECT, related_name="teach_back"
    )
    one_more_attempt = models.BooleanField(default=False)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    objects = TeachBackQuerySet.as_manager()

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(outcome=TeachBackOutcome.UNDERSTOOD, clearance__isnull=False)
                | (~Q(outcome=TeachBackOutcome.UNDERSTOOD) & Q(clearance__isnull=True)),
                name="teach_back_clears_if_understood",
            ),
            models.CheckConstraint(
                condition=Q(one_more_attempt=False) | Q(outcome=TeachBackOutcome.NOT_YET),
                name="teach_back_attempt_if_not_yet",
            ),
        ]


class TeachBackPoint(AppendOnly):
    """One point: what was asked, by language, what the patient said, and whether it was understood.

    `missed`: a quiz had got it wrong. `understood` None: it was not gone through.
    """

    teach_back = models.ForeignKey(TeachBack, on_delete=models.PROTECT, related_name="points")
    question = models.ForeignKey(Question, on_delete=models.PROTECT, related_name="+")
    asked = models.JSONField()
    said = models.CharField(max_length=1000, blank=True)
    understood = models.BooleanField(null=True)
    missed = models.BooleanField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["teach_back", "question"], name="teach_back_point_once"
            ),
            models.CheckConstraint(
                condition=~Q(understood=True) | ~Q(said=""), name="teach_back_point_has_its_words"
            ),
        ]


class Escalation(AppendOnly):
    """The surgeon's office is asked to help reach a patient, after so many messages.

    `contact` is the last of them; `by` left it.
    """

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="escalations")
    contact = models.ForeignKey(Contact, on_delete=models.PROTECT, related_name="+")
    messages = models.PositiveSmallIntegerField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recorded_at", "id"]


class EscalationEnd(AppendOnly):
    """The surgeon's office need not help any more."""

    escalation = models.OneToOneField(Escalation, on_delete=models.PROTECT, related_name="end")
    because = models.CharField(max_length=12, choices=[(e, e) for e in EscalationEnded])
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
