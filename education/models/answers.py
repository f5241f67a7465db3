"""WHAT was answered, and whose submission it is."""

from enum import StrEnum
from typing import Any, Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q

from education.models.reaching import Invitation
from education.models.teaching import Edition, Question
from education.rules.drawing import Draw
from education.rules.quiz_way import Way
from patients.models import AppendOnly, Patient


class Attempt(models.Model):
    """A quiz in progress: work of the patient's, kept from the first answer on."""

    invitation = models.ForeignKey(Invitation, on_delete=models.PROTECT, related_name="attempts")
    edition = models.ForeignKey(Edition, on_delete=models.PROTECT, related_name="+")
    number = models.PositiveSmallIntegerField()
    # What decides which versions are asked and how options are shuffled: goes on behind a new link.
    seed = models.CharField(max_length=40, default="", db_default="")
    turn = models.PositiveSmallIntegerField(default=0, db_default=0)
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["invitation", "number"], name="attempt_number_once")
        ]

    @property
    def draw(self) -> Draw:
        return Draw(self.seed, self.turn)


class DraftAnswer(models.Model):
    """The answer as it is now; `given` is in the form that `education.given` writes and reads."""

    attempt = models.ForeignKey(Attempt, on_delete=models.PROTECT, related_name="drafts")
    question = models.ForeignKey(Question, on_delete=models.PROTECT, related_name="+")
    given = models.JSONField()
    recorded_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["attempt", "question"], name="draft_answer_once")
        ]


class SubmissionQuerySet(models.QuerySet["Submission"]):
    def undecided(self) -> Self:
        """Nobody has said whose it is, or what was said was undone."""
        return self.filter(~Exists(IdentityDecision.objects.in_force(submission=OuterRef("pk"))))


class Submission(AppendOnly):
    """One finished attempt, with the name and date of birth that were typed, and its score."""

    attempt = models.OneToOneField(Attempt, on_delete=models.PROTECT, related_name="submission")
    edition = models.ForeignKey(Edition, on_delete=models.PROTECT, related_name="submissions")
    language = models.CharField(max_length=8)
    given_names = models.CharField(max_length=200)
    family_names = models.CharField(max_length=200, blank=True)
    birth_date = models.DateField()
    right = models.PositiveSmallIntegerField()
    total = models.PositiveSmallIntegerField()
    passed = models.BooleanField()
    unsafe = models.JSONField(default=list)  # keys of the safety-critical questions got wrong
    # Who typed it, where that was not the patient; of a sheet the day on which it was filled in.
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    answered_on = models.DateField(null=True)
    recorded_at = models.DateTimeField(db_index=True)

    objects = SubmissionQuerySet.as_manager()

    class Meta:
        ordering = ["recorded_at", "id"]
        indexes = [models.Index(fields=["birth_date"], name="submission_birth_date")]
        constraints = [
            models.CheckConstraint(
                condition=Q(answered_on__isnull=True) | Q(by__isnull=False),
                name="submission_of_a_day_was_typed_by_staff",
            )
        ]

    def __str__(self) -> str:
        return f"submission {self.pk}"

    @property
    def way(self) -> Way:
        """By which way it came; reads `attempt` and its `invitation`."""
        return Way(self.attempt.invitation.way)


class SubmissionAnswer(AppendOnly):
    submission = models.ForeignKey(Submission, on_delete=models.PROTECT, related_name="answers")
    question = models.ForeignKey(Question, on_delete=models.PROTECT, related_name="answers")
    given = models.JSONField(null=True)
    right = models.BooleanField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["submission", "question"], name="submission_answer_once"
            )
        ]


class IdentityVerdict(StrEnum):
    MATCHED_AUTOMATICALLY = "matched_automatically"
    MATCHED_BY_STAFF = "matched_by_staff"
    NOT_A_PATIENT = "not_a_patient"
    UNDONE = "undone"


MATCHED = (IdentityVerdict.MATCHED_AUTOMATICALLY, IdentityVerdict.MATCHED_BY_STAFF)


class IdentityDecisionQuerySet(models.QuerySet["IdentityDecision"]):
    def in_force(self, **only: Any) -> Self:
        """The latest decision of each submission, unless it undid the one before."""
        later = IdentityDecision.objects.filter(
            submission=OuterRef("submission"), number__gt=OuterRef("number")
        )
        return self.filter(~Exists(later), **only).exclude(verdict=IdentityVerdict.UNDONE)


class IdentityDecision(AppendOnly):
    """Whose submission it is. The latest decision of a submission is in force."""

    submission = models.ForeignKey(Submission, on_delete=models.PROTECT, related_name="decisions")
    number = models.PositiveSmallIntegerField()
    verdict = models.CharField(max_length=24, choices=[(v, v) for v in IdentityVerdict])
    patient = models.ForeignKey(
        Patient, null=True, on_delete=models.PROTECT, related_name="identity_decisions"
    )
    reasons = models.JSONField(default=list)
    note = models.CharField(max_length=500, blank=True)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = IdentityDecisionQuerySet.as_manager()

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["submission", "number"], name="decision_number_once"),
            models.CheckConstraint(
                condition=Q(verdict__in=list(MATCHED), patient__isnull=False)
                | (~Q(verdict__in=list(MATCHED)) & Q(patient__isnull=True)),
                name="decision_match_has_patient",
            ),
            models.CheckConstraint(
                condition=Q(verdict=IdentityVerdict.MATCHED_AUTOMATICALLY) | Q(by__isnull=False),
                name="decision_by_person_is_named",
            ),
        ]


class SubmissionNote(AppendOnly):
    """What a member of staff found out about a submission, without deciding whose it is yet."""

    submission = models.ForeignKey(Submission, on_delete=models.PROTECT, related_name="notes")
    text = models.CharField(max_length=500)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(condition=~Q(text=""), name="submission_note_not_empty")
        ]
