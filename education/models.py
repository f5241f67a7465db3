"""WHAT is to be learned, WHAT was answered, and the records behind IS THE PATIENT CLEARED.

Append-only rows are the record; `Assignment` holds the latest dates, kept equal to its history by
`education.assign` alone; `Attempt`, `DraftAnswer` and `Message` are work in progress.
"""

from datetime import date, time, timedelta
from decimal import Decimal
from enum import StrEnum
from typing import Any, Self

from django.conf import settings
from django.db import models
from django.db.models import Count, Exists, F, OuterRef, Q
from django.db.models.lookups import GreaterThan

from education.rules.body_numbers import WEIGHT_BASES, Basis, Sex
from education.rules.patient_numbers import OwnNumber
from education.rules.scoring import Kind
from education.rules.standing import Evidence, Standing
from patients.models import AppendOnly, Merge, Operation, Patient, Procedure

# --- teaching ------------------------------------------------------------------------------------


class Module(models.Model):
    """One teaching unit; its words are in its editions."""

    code = models.SlugField(max_length=60, unique=True)

    def __str__(self) -> str:
        return self.code


class Edition(AppendOnly):
    """What was published on a day. Texts are maps from language code to text."""

    module = models.ForeignKey(Module, on_delete=models.PROTECT, related_name="editions")
    number = models.PositiveIntegerField()
    title = models.JSONField()
    languages = models.JSONField()
    pass_mark = models.PositiveSmallIntegerField()
    earlier_clearances_count = models.BooleanField(default=True)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["module", "number"]
        constraints = [
            models.UniqueConstraint(fields=["module", "number"], name="edition_number_once"),
            models.CheckConstraint(
                condition=Q(pass_mark__gte=1, pass_mark__lte=100), name="edition_pass_mark"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.module_id} edition {self.number}"


class Section(AppendOnly):
    edition = models.ForeignKey(Edition, on_delete=models.PROTECT, related_name="sections")
    position = models.PositiveSmallIntegerField()
    key = models.SlugField(max_length=60)
    heading = models.JSONField()
    body = models.JSONField()

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["edition", "position"], name="section_position_once"),
            models.UniqueConstraint(fields=["edition", "key"], name="section_key_once"),
        ]


class Question(AppendOnly):
    edition = models.ForeignKey(Edition, on_delete=models.PROTECT, related_name="questions")
    section = models.ForeignKey(Section, on_delete=models.PROTECT, related_name="+")
    position = models.PositiveSmallIntegerField()
    key = models.SlugField(max_length=60)
    kind = models.CharField(max_length=12, choices=[(k, k) for k in Kind])
    safety_critical = models.BooleanField(default=False)
    stem = models.JSONField()
    explanation = models.JSONField()
    unit = models.JSONField(default=dict)
    number = models.DecimalField(max_digits=12, decimal_places=3, null=True)
    tolerance = models.DecimalField(max_digits=12, decimal_places=3, null=True)

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["edition", "position"], name="question_position_once"),
            models.UniqueConstraint(fields=["edition", "key"], name="question_key_once"),
            models.CheckConstraint(condition=Q(kind__in=list(Kind)), name="question_kind_known"),
            models.CheckConstraint(
                condition=Q(kind=Kind.NUMBER, number__isnull=False, tolerance__gte=0)
                | (~Q(kind=Kind.NUMBER) & Q(number__isnull=True, tolerance__isnull=True)),
                name="question_number_has_answer",
            ),
        ]


class Option(AppendOnly):
    question = models.ForeignKey(Question, on_delete=models.PROTECT, related_name="options")
    position = models.PositiveSmallIntegerField()
    key = models.SlugField(max_length=60)
    text = models.JSONField()
    right = models.BooleanField()

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["question", "position"], name="option_position_once"),
            models.UniqueConstraint(fields=["question", "key"], name="option_key_once"),
        ]


# --- what is required of whom --------------------------------------------------------------------


class Requirement(AppendOnly):
    """A procedure needs a module between two offsets in days from the OR date.

    The latest row of a procedure and module is the one in force; `required=False` ends it.
    """

    procedure = models.ForeignKey(Procedure, on_delete=models.PROTECT, related_name="requirements")
    module = models.ForeignKey(Module, on_delete=models.PROTECT, related_name="requirements")
    opens_days = models.SmallIntegerField()
    clear_by_days = models.SmallIntegerField()
    required = models.BooleanField(default=True)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(clear_by_days__gte=F("opens_days")), name="requirement_window_order"
            )
        ]


class AssignmentQuerySet(models.QuerySet["Assignment"]):
    """The SQL twin of `education.rules.standing`: same rule, for lists.

    The conditions stand in WHERE only; annotating them first is a hundred times slower.
    """

    def wanting_attention(self, *, on: date) -> Self:
        """Open, and of an operation that is not over; after it, only what was due afterwards."""
        return self.still_open().filter(
            Q(operation__or_date__isnull=True)
            | Q(operation__or_date__gte=on)
            | Q(due_before_operation=False)
        )

    def still_open(self) -> Self:
        return self.filter(closed=False)

    def cleared(self) -> Self:
        return self.filter(_is_cleared())

    def needs_sign_off(self) -> Self:
        return self.filter(_needs_sign_off())

    def late(self, *, on: date) -> Self:
        return self.filter(_is_not_cleared(), clear_by__lt=on)

    def due(self, *, on: date, notice_days: int) -> Self:
        return self.filter(_is_not_cleared(), _is_due(on, notice_days))

    def not_due(self, *, on: date, notice_days: int) -> Self:
        return self.filter(_is_not_cleared(), _is_not_due(on, notice_days))

    def flagged(self, *, on: date, notice_days: int) -> Self:
        """Late, due or needing a sign-off."""
        horizon = on + timedelta(days=notice_days)
        return self.filter(~_is_cleared(), Q(clear_by__lte=horizon) | _needs_sign_off())

    def counts(self, *, on: date, notice_days: int) -> dict[Standing, int]:
        """Return how many there are of each standing, in one query."""
        conditions = {
            Standing.CLEARED: _is_cleared(),
            Standing.NEEDS_SIGN_OFF: _needs_sign_off(),
            Standing.LATE: _is_not_cleared() & Q(clear_by__lt=on),
            Standing.DUE: _is_not_cleared() & _is_due(on, notice_days),
            Standing.NOT_DUE: _is_not_cleared() & _is_not_due(on, notice_days),
        }
        found = self.aggregate(**{s: Count("pk", filter=q) for s, q in conditions.items()})
        return {s: found[s] for s in conditions}


class Assignment(models.Model):
    """A requirement applied to one operation, with the dates as they are now."""

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="assignments")
    module = models.ForeignKey(Module, on_delete=models.PROTECT, related_name="assignments")
    opens_on = models.DateField(null=True)
    clear_by = models.DateField(null=True, db_index=True)
    due_before_operation = models.BooleanField()
    closed = models.BooleanField(default=False)
    recorded_at = models.DateTimeField()

    objects = AssignmentQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["operation", "module"], name="assignment_once"),
            models.CheckConstraint(
                condition=Q(opens_on__isnull=True, clear_by__isnull=True)
                | Q(clear_by__gte=F("opens_on")),
                name="assignment_window_order",
            ),
        ]

    def __str__(self) -> str:
        return f"assignment {self.pk}"


class AssignmentChange(AppendOnly):
    """The dates of an assignment from this instant on, and the OR date that they came from."""

    assignment = models.ForeignKey(Assignment, on_delete=models.PROTECT, related_name="changes")
    requirement = models.ForeignKey(Requirement, on_delete=models.PROTECT, related_name="+")
    or_date = models.DateField(null=True)
    opens_on = models.DateField(null=True)
    clear_by = models.DateField(null=True)
    closed = models.BooleanField()
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["recorded_at", "id"]


# --- reaching the patient ------------------------------------------------------------------------


class Invitation(AppendOnly):
    """A personal link to a module, sent to a patient at one address."""

    assignment = models.ForeignKey(Assignment, on_delete=models.PROTECT, related_name="invitations")
    address = models.EmailField(max_length=254)
    expires_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["recorded_at", "id"]


class InvitationToken(AppendOnly):
    """The SHA-256 of a token that was put into one email; the token itself is never stored."""

    invitation = models.ForeignKey(Invitation, on_delete=models.PROTECT, related_name="tokens")
    digest = models.CharField(max_length=64, unique=True)
    recorded_at = models.DateTimeField()


class EndedBecause(StrEnum):
    REPLACED = "replaced"
    WITHDRAWN = "withdrawn"
    READDRESSED = "readdressed"  # the patient's address on file is another one now


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
    address = models.EmailField(max_length=254)
    language = models.CharField(max_length=8)
    message_id = models.CharField(max_length=120, unique=True)
    state = models.CharField(
        max_length=12, default=MessageState.WAITING, choices=[(s, s) for s in MessageState]
    )
    tries = models.PositiveSmallIntegerField(default=0)
    next_try_at = models.DateTimeField()
    lease_until = models.DateTimeField(null=True)
    problem = models.CharField(max_length=200, blank=True)
    recorded_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
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
            )
        ]


# --- what was answered ---------------------------------------------------------------------------


class Attempt(models.Model):
    """A quiz in progress: work of the patient's, kept from the first answer on."""

    invitation = models.ForeignKey(Invitation, on_delete=models.PROTECT, related_name="attempts")
    edition = models.ForeignKey(Edition, on_delete=models.PROTECT, related_name="+")
    number = models.PositiveSmallIntegerField()
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["invitation", "number"], name="attempt_number_once")
        ]


class DraftAnswer(models.Model):
    """The answer as it is now; `given` is {"options": [ids]} or {"number": "64"}."""

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
    recorded_at = models.DateTimeField(db_index=True)

    objects = SubmissionQuerySet.as_manager()

    class Meta:
        ordering = ["recorded_at", "id"]
        indexes = [models.Index(fields=["birth_date"], name="submission_birth_date")]

    def __str__(self) -> str:
        return f"submission {self.pk}"


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


# --- clearance -----------------------------------------------------------------------------------


class Clearance(AppendOnly):
    """A patient showed understanding of a module on a day, and on what evidence."""

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="clearances")
    module = models.ForeignKey(Module, on_delete=models.PROTECT, related_name="clearances")
    edition = models.ForeignKey(Edition, on_delete=models.PROTECT, related_name="+")
    cleared_on = models.DateField()
    evidence = models.CharField(max_length=12, choices=[(e, e) for e in Evidence])
    decision = models.OneToOneField(
        IdentityDecision, null=True, on_delete=models.PROTECT, related_name="clearance"
    )
    # The same clearance on a record that was merged into this patient's, and the merge.
    carried_from = models.ForeignKey(
        "self", null=True, on_delete=models.PROTECT, related_name="carried_to"
    )
    merge = models.ForeignKey(Merge, null=True, on_delete=models.PROTECT, related_name="carried")
    note = models.CharField(max_length=1000, blank=True)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["cleared_on", "id"]
        indexes = [
            models.Index(fields=["patient", "module", "cleared_on"], name="clearance_look_up")
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(evidence=Evidence.QUIZ, decision__isnull=False, merge__isnull=True)
                | Q(evidence=Evidence.TEACH_BACK, by__isnull=False, decision__isnull=True)
                | Q(carried_from__isnull=False, merge__isnull=False, decision__isnull=True),
                name="clearance_has_its_evidence",
            ),
            models.CheckConstraint(
                condition=Q(carried_from__isnull=True, merge__isnull=True)
                | Q(carried_from__isnull=False, merge__isnull=False),
                name="clearance_carried_by_a_merge",
            ),
        ]

    @property
    def original(self) -> "Clearance":
        """The clearance that merges carried here; itself, if none did."""
        return self.carried_from.original if self.carried_from else self


class Revocation(AppendOnly):
    """A clearance that no longer holds, and why; it is never deleted."""

    clearance = models.OneToOneField(Clearance, on_delete=models.PROTECT, related_name="revocation")
    reason = models.CharField(max_length=500)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="revocation_has_reason")
        ]


class AcceptedQuerySet(models.QuerySet[Any]):
    """What clinicians accepted: sign-offs and waivers."""

    def standing(self) -> Self:
        """Neither taken back nor declined by the second clinician; may wait for the agreement."""
        return self.filter(Q(second__isnull=True) | Q(second__agrees=True), revocation__isnull=True)

    def counting(self) -> Self:
        """Not taken back, and agreed to where a second clinician has to."""
        return self.filter(Q(needs_second=False) | Q(second__agrees=True), revocation__isnull=True)

    def waiting(self) -> Self:
        """Not taken back, and without the second clinician's word."""
        return self.filter(needs_second=True, second__isnull=True, revocation__isnull=True)


class SignOff(AppendOnly):
    """A clinician accepts a clearance that came after the clear-by date, for one assignment.

    `needs_second`: the programme's setting when it was made.
    """

    assignment = models.ForeignKey(Assignment, on_delete=models.PROTECT, related_name="sign_offs")
    clearance = models.ForeignKey(Clearance, on_delete=models.PROTECT, related_name="sign_offs")
    reason = models.CharField(max_length=500)
    needs_second = models.BooleanField(default=False, db_default=False)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    objects = AcceptedQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="sign_off_has_reason"),
        ]


class SignOffRevocation(AppendOnly):
    """The sign-off is taken back: the late clearance waits for one again."""

    sign_off = models.OneToOneField(SignOff, on_delete=models.PROTECT, related_name="revocation")
    reason = models.CharField(max_length=500)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="sign_off_revocation_has_reason")
        ]


class Waiver(AppendOnly):
    """A clinician says that this assignment needs no clearance, and why.

    `needs_second`: the programme's setting when it was made.
    """

    assignment = models.ForeignKey(Assignment, on_delete=models.PROTECT, related_name="waivers")
    reason = models.CharField(max_length=500)
    needs_second = models.BooleanField(default=False, db_default=False)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    objects = AcceptedQuerySet.as_manager()

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="waiver_has_reason")]


class WaiverRevocation(AppendOnly):
    waiver = models.OneToOneField(Waiver, on_delete=models.PROTECT, related_name="revocation")
    reason = models.CharField(max_length=500)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")


class SecondOpinion(AppendOnly):
    """Another clinician agrees to a sign-off or a waiver, or declines it, and why; once each."""

    sign_off = models.OneToOneField(
        SignOff, null=True, on_delete=models.PROTECT, related_name="second"
    )
    waiver = models.OneToOneField(
        Waiver, null=True, on_delete=models.PROTECT, related_name="second"
    )
    agrees = models.BooleanField()
    reason = models.CharField(max_length=500)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(sign_off__isnull=False, waiver__isnull=True)
                | Q(sign_off__isnull=True, waiver__isnull=False),
                name="second_opinion_of_one",
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="second_opinion_has_reason"),
        ]


# --- the conditions of the SQL twin, one for each clause of the rule ------------------------------


def _is_cleared() -> Q:
    return Q(_is_waived() | _cleared_in_window() | _cleared_late_signed_off())


def _needs_sign_off() -> Q:
    return ~_is_cleared() & Q(_cleared_late())


def _is_not_cleared() -> Q:
    return Q(~_is_waived(), ~_cleared_in_window(), ~_cleared_late())


def _is_due(on: date, notice_days: int) -> Q:
    return Q(clear_by__gte=on, clear_by__lte=on + timedelta(days=notice_days))


def _is_not_due(on: date, notice_days: int) -> Q:
    return Q(clear_by__isnull=True) | Q(clear_by__gt=on + timedelta(days=notice_days))


def _is_waived() -> Exists:
    return Exists(Waiver.objects.counting().filter(assignment=OuterRef("pk")))


def _counting_clearances() -> models.QuerySet[Clearance]:
    """Unrevoked clearances of the assignment's patient and module whose edition still counts."""
    superseding = Edition.objects.filter(
        module=OuterRef("module"),
        number__gt=OuterRef("edition__number"),
        earlier_clearances_count=False,
    )
    return Clearance.objects.filter(
        ~Exists(superseding),
        patient=OuterRef("operation__patient"),
        module=OuterRef("module"),
        revocation__isnull=True,
    )


def _cleared_in_window() -> Exists:
    return Exists(
        _counting_clearances().filter(
            cleared_on__gte=OuterRef("opens_on"), cleared_on__lte=OuterRef("clear_by")
        )
    )


def _late_clearances() -> models.QuerySet[Clearance]:
    due_afterwards = GreaterThan(OuterRef("clear_by"), OuterRef("operation__or_date"))
    return _counting_clearances().filter(
        Q(cleared_on__lte=OuterRef("operation__or_date")) | Q(due_afterwards),
        cleared_on__gt=OuterRef("clear_by"),
    )


def _cleared_late() -> Exists:
    return Exists(_late_clearances())


def _cleared_late_signed_off() -> Exists:
    signed = SignOff.objects.counting().filter(
        clearance=OuterRef("pk"), assignment=OuterRef(OuterRef("pk"))
    )
    return Exists(_late_clearances().filter(Exists(signed)))


# --- the eating plan -----------------------------------------------------------------------------


class StageTable(AppendOnly):
    """The programme's stages of the eating plan and its numbers; the latest row is in force.

    `stages` is read by `education.rules.stage_text`. Days are counted from the OR date. Until a
    clinician signs a row (`StageTableSign`), what it says is common practice.
    """

    number = models.PositiveIntegerField(unique=True)
    stages = models.JSONField()
    # The stays that the stages have to fit, and the one that a plan has when nobody said another.
    fewest_nights = models.PositiveSmallIntegerField(default=1)
    most_nights = models.PositiveSmallIntegerField(default=2)
    usual_nights = models.PositiveSmallIntegerField(default=1)
    earliest_visit = models.PositiveSmallIntegerField(default=10)
    latest_visit = models.PositiveSmallIntegerField(default=14)
    usual_visit = models.PositiveSmallIntegerField(default=14)
    # Protein: at least so many g a day, and a range in g for each kg of a named weight.
    protein_floor_g = models.PositiveSmallIntegerField(default=60)
    protein_low_per_kg = models.DecimalField(max_digits=4, decimal_places=2, default=Decimal("1.0"))
    protein_high_per_kg = models.DecimalField(
        max_digits=4, decimal_places=2, default=Decimal("1.5")
    )
    protein_basis = models.CharField(
        max_length=20, default=Basis.DEVINE, choices=[(b, b) for b in WEIGHT_BASES]
    )
    adjusted_factor = models.DecimalField(max_digits=4, decimal_places=2, default=Decimal("0.25"))
    fluid_ml = models.PositiveSmallIntegerField(default=1893)
    sip_oz = models.DecimalField(max_digits=4, decimal_places=2, default=Decimal("1"))
    sip_minutes = models.PositiveSmallIntegerField(default=15)
    bedtime = models.TimeField(default=time(22, 0))
    protein_per_serving_g = models.DecimalField(
        max_digits=5, decimal_places=1, default=Decimal("30")
    )
    servings_in_package = models.PositiveSmallIntegerField(null=True)
    # At which temperature to call, as the programme says it; empty: no number is printed.
    fever = models.CharField(max_length=40, blank=True)
    reason = models.CharField(max_length=500, blank=True)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["number"]
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    fewest_nights__lte=F("usual_nights"), usual_nights__lte=F("most_nights")
                ),
                name="stage_table_nights",
            ),
            models.CheckConstraint(
                condition=Q(
                    earliest_visit__lte=F("usual_visit"), usual_visit__lte=F("latest_visit")
                ),
                name="stage_table_visit",
            ),
            models.CheckConstraint(
                condition=Q(protein_low_per_kg__lte=F("protein_high_per_kg")),
                name="stage_table_protein_range",
            ),
            models.CheckConstraint(
                condition=Q(sip_oz__gt=0, sip_minutes__gte=1, protein_per_serving_g__gt=0),
                name="stage_table_sips",
            ),
            models.CheckConstraint(
                condition=Q(protein_basis__in=list(WEIGHT_BASES)), name="stage_table_basis_known"
            ),
        ]

    def __str__(self) -> str:
        return f"stage table {self.number}"


class StageTableSign(AppendOnly):
    """A clinician of the programme signs a stage table: it is the programme's from here on."""

    table = models.OneToOneField(StageTable, on_delete=models.PROTECT, related_name="sign")
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")


class EatingFacts(AppendOnly):
    """What an eating plan has to know of a patient, whole; the latest row is in force.

    kg and cm are what the typed words came to. None: not asked, never "no". The fasting order is
    kept and printed as it was given, with who gave it.
    """

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="eating_facts")
    weight_typed = models.CharField(max_length=40, blank=True)
    weight_kg = models.DecimalField(max_digits=8, decimal_places=4, null=True)
    height_typed = models.CharField(max_length=40, blank=True)
    height_cm = models.DecimalField(max_digits=7, decimal_places=3, null=True)
    sex_for_formulas = models.CharField(max_length=8, blank=True, choices=[(s, s) for s in Sex])
    diabetes = models.BooleanField(null=True)
    blood_thinner = models.BooleanField(null=True)
    blood_pressure = models.BooleanField(null=True)
    pregnancy = models.BooleanField(null=True)
    fasting_order = models.CharField(max_length=500, blank=True)
    fasting_order_by = models.CharField(max_length=200, blank=True)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(fasting_order="") | ~Q(fasting_order_by=""),
                name="eating_facts_order_has_giver",
            ),
        ]


class EatingSignedFor(AppendOnly):
    """A clinician signs that a patient's medicines, or pregnancy, were discussed.

    It holds for what the facts said then: another yes needs another signature.
    """

    facts = models.ForeignKey(EatingFacts, on_delete=models.PROTECT, related_name="signatures")
    note = models.CharField(max_length=500)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(condition=~Q(note=""), name="eating_signed_for_has_note")
        ]


class EatingSetAside(AppendOnly):
    """A dietitian puts a number of their own in place of a computed one, and why.

    The latest row of a patient and a number is in force; `value` None: the computed one again.
    """

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="eating_set_asides")
    what = models.CharField(max_length=20, choices=[(n, n) for n in OwnNumber])
    value = models.DecimalField(max_digits=8, decimal_places=2, null=True)
    reason = models.CharField(max_length=500)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="eating_set_aside_has_reason"),
            models.CheckConstraint(
                condition=Q(what__in=list(OwnNumber)), name="eating_set_aside_known"
            ),
        ]


class EatingChoices(AppendOnly):
    """What was chosen for one operation, whole; the latest row is in force.

    All in days from the OR date, so that a moved date moves it: solid meals, nights, first visit.
    """

    operation = models.ForeignKey(
        Operation, on_delete=models.PROTECT, related_name="eating_choices"
    )
    meals = models.JSONField(default=list)
    nights = models.PositiveSmallIntegerField()
    first_visit_days = models.PositiveSmallIntegerField()
    reason = models.CharField(max_length=500, blank=True)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["recorded_at", "id"]


class GivenBy(StrEnum):
    """How a patient got the plan."""

    PRINT = "print"
    EMAIL = "email"
    PHONE = "phone"


class EatingPlanGiven(AppendOnly):
    """A patient got the plan: made from which OR date, by which stage table."""

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="plans_given")
    table = models.ForeignKey(StageTable, on_delete=models.PROTECT, related_name="+")
    or_date = models.DateField()
    means = models.CharField(max_length=12, choices=[(m, m) for m in GivenBy])
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(means__in=list(GivenBy)), name="plan_given_means")
        ]


class PlanLink(AppendOnly):
    """A personal link to the eating plan of one operation, sent to a patient at one address.

    `or_date`: the OR date when it was sent; the page says when it is another one now.
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
