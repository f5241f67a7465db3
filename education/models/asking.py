"""What patients ask from the pages of a module, the answers to it, and what is often asked."""

from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q

from education.models.reaching import EndedBecause, Invitation, Message, MessageState
from education.models.teaching import Edition, Module
from education.rules.asking import About, Means
from patients.models import AppendOnly, Patient

# The email that says that an answer waits never went out, or not to an address that takes it.
NOT_ARRIVED = (MessageState.FAILED, MessageState.WITHDRAWN)


class PatientQuestionQuerySet(models.QuerySet["PatientQuestion"]):
    def waiting(self) -> Self:
        """Those without an answer, or whose latest answer did not arrive (rules/asking.py)."""
        answers = QuestionAnswer.objects.filter(question=OuterRef("pk"))
        later = QuestionAnswer.objects.filter(question=OuterRef("question"), pk__gt=OuterRef("pk"))
        lost = answers.filter(~Exists(later), link__message__state__in=NOT_ARRIVED)
        return self.filter(~Exists(answers) | Exists(lost))

    def of(self, patient_ids: models.QuerySet[Patient] | list[int]) -> Self:
        """Those that came through the links of these patients."""
        return self.filter(invitation__assignment__operation__patient__in=patient_ids)


class PatientQuestion(AppendOnly):
    """What was asked behind a personal link, and from where.

    Nobody typed a name: it is the question of whoever holds the link. `part` is the key of the
    section or question that it is about. `key` tells one sending of the form from another.
    """

    invitation = models.ForeignKey(Invitation, on_delete=models.PROTECT, related_name="questions")
    edition = models.ForeignKey(Edition, on_delete=models.PROTECT, related_name="+")
    about = models.CharField(max_length=12, choices=[(a, a) for a in About])
    part = models.CharField(max_length=60, blank=True)
    language = models.CharField(max_length=8)
    text = models.TextField()
    key = models.UUIDField()
    recorded_at = models.DateTimeField(db_index=True)

    objects = PatientQuestionQuerySet.as_manager()

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.UniqueConstraint(fields=["invitation", "key"], name="patient_question_once"),
            models.CheckConstraint(condition=~Q(text=""), name="patient_question_says_something"),
            models.CheckConstraint(
                condition=Q(about__in=list(About)), name="patient_question_about"
            ),
        ]

    @property
    def patient(self) -> Patient:
        """Whose link it was; after a merge, the patient to whom the operation went."""
        return self.invitation.assignment.operation.patient


class QuestionAnswer(AppendOnly):
    """An answer to a question, and how it was given. A later one corrects it."""

    question = models.ForeignKey(PatientQuestion, on_delete=models.PROTECT, related_name="answers")
    means = models.CharField(max_length=12, choices=[(m, m) for m in Means])
    text = models.TextField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(condition=~Q(text=""), name="question_answer_says_something"),
            models.CheckConstraint(condition=Q(means__in=list(Means)), name="answer_means_known"),
        ]


class AnswerLink(AppendOnly):
    """A personal link to the answer of one question, sent to a patient at one address."""

    answer = models.OneToOneField(QuestionAnswer, on_delete=models.PROTECT, related_name="link")
    message = models.OneToOneField(Message, on_delete=models.PROTECT, related_name="answer_link")
    address = models.EmailField(max_length=254)
    expires_at = models.DateTimeField()
    recorded_at = models.DateTimeField()

    over = False  # an answer stays one

    @property
    def patient(self) -> Patient:
        """Whose it is."""
        return self.answer.question.patient

    @property
    def emails(self) -> Q:
        """The email that carries it."""
        return Q(answer_link=self)


class AnswerLinkToken(AppendOnly):
    """The SHA-256 of a token that was put into one email; the token itself is never stored."""

    link = models.ForeignKey(AnswerLink, on_delete=models.PROTECT, related_name="tokens")
    digest = models.CharField(max_length=64, unique=True)
    recorded_at = models.DateTimeField()


class AnswerLinkEnd(AppendOnly):
    """From here on the link is dead."""

    link = models.OneToOneField(AnswerLink, on_delete=models.PROTECT, related_name="end")
    because = models.CharField(max_length=12, choices=[(e, e) for e in EndedBecause])
    recorded_at = models.DateTimeField()


# --- people often ask ----------------------------------------------------------------------------


class OftenAsked(AppendOnly):
    """An entry of a module's "people often ask"; what it says is in its words.

    It stands beside the editions and makes none. `came_from`: the question that it was made of.
    """

    module = models.ForeignKey(Module, on_delete=models.PROTECT, related_name="often_asked")
    came_from = models.ForeignKey(
        PatientQuestion, null=True, on_delete=models.PROTECT, related_name="often_asked"
    )
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["id"]


class OftenAskedWords(AppendOnly):
    """What an entry says from an instant on, in each language; not `shown`: it is archived.

    `number` counts the rows of an entry: two who change it at once cannot both be the next.
    """

    entry = models.ForeignKey(OftenAsked, on_delete=models.PROTECT, related_name="words")
    number = models.PositiveIntegerField()
    question = models.JSONField()
    answer = models.JSONField()
    shown = models.BooleanField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["entry", "number"]
        constraints = [
            models.UniqueConstraint(fields=["entry", "number"], name="often_asked_numbered")
        ]
