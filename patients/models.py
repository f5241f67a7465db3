"""WHO has WHICH operation WHEN.

Rows named `...Change` and `Programme` are history: written once, never updated (append_only.py).
`Patient` and `Operation` hold the latest state, kept equal to their history by the acts alone.
"""

from datetime import date, datetime
from enum import StrEnum
from typing import Self
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Coalesce, Lower, Trim

from patients.rules.identity import NameKind, Policy
from patients.rules.languages import SOURCE_LANGUAGE
from patients.rules.message_formats import MessageFormat


class AppendOnly(models.Model):
    """Base of the records that are written once; the database refuses UPDATE and DELETE."""

    append_only = True

    class Meta:
        abstract = True


class Programme(AppendOnly):
    """The programme's own settings. Each change is a new row; the latest one is in force."""

    name = models.CharField(max_length=120)
    time_zone = models.CharField(max_length=64)
    phone = models.CharField(max_length=40)
    emergency_number = models.CharField(max_length=20, default="911")
    notice_days = models.PositiveSmallIntegerField(default=10)
    attempts_allowed = models.PositiveSmallIntegerField(default=3)
    teaching_needs_review = models.BooleanField(default=False, db_default=False)
    link_valid_days = models.PositiveSmallIntegerField(default=60)
    matching = models.CharField(
        max_length=24, default=Policy.NAME_AND_BIRTH_DATE, choices=[(p, p) for p in Policy]
    )
    # A sign-off or waiver counts only once a second clinician has agreed to it.
    second_clinician = models.BooleanField(default=False, db_default=False)
    # The calendar feed names patients and procedures; without it, case numbers only.
    feed_names_patients = models.BooleanField(default=False, db_default=False)
    # After so many messages without an answer the surgeon's office is asked to help, if it is.
    escalates = models.BooleanField(default=True, db_default=True)
    messages_before_escalation = models.PositiveSmallIntegerField(default=2, db_default=2)
    # The US school grade that patients' texts should not be over; a warning, never a refusal.
    reading_grade = models.PositiveSmallIntegerField(default=6, db_default=6)
    recorded_at = models.DateTimeField(db_index=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(attempts_allowed__gte=1), name="programme_attempts"),
            models.CheckConstraint(condition=Q(link_valid_days__gte=1), name="programme_link_days"),
            models.CheckConstraint(
                condition=Q(messages_before_escalation__gte=1), name="programme_messages"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)


class PatientQuerySet(models.QuerySet["Patient"]):
    def on_the_register(self) -> Self:
        """Everybody but the records that were merged into another one."""
        return self.filter(merged_into__isnull=True)

    def with_mrn(self, mrn: models.Expression) -> Self:
        """The one record that has an MRN, in any case and with blanks around it, as it is unique.

        Said as the unique index says it, so that the index finds it.
        """
        return self.alias(_mrn=Lower(Trim("mrn"))).filter(_mrn=Lower(Trim(mrn)))


class Patient(models.Model):
    """A person under the programme's care."""

    mrn = models.CharField("MRN", max_length=40)
    given_names = models.CharField(max_length=200)
    family_names = models.CharField(max_length=200, blank=True)
    birth_date = models.DateField(db_index=True)
    email = models.EmailField(max_length=254, blank=True)
    phone = models.CharField(max_length=40, blank=True)
    language = models.CharField(max_length=8, default=SOURCE_LANGUAGE)
    name_key = models.CharField(max_length=420, db_index=True, editable=False)
    # Set while the record is merged into another one, which then speaks for both (patients.merge).
    merged_into = models.ForeignKey(
        "self", null=True, editable=False, on_delete=models.PROTECT, related_name="merged_records"
    )
    # Work in progress: duplicates of this record have not been looked for since it changed.
    compare_with_register = models.BooleanField(default=True, editable=False)
    recorded_at = models.DateTimeField()

    objects = PatientQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(Lower(Trim("mrn")), name="patient_mrn_once"),
            models.CheckConstraint(condition=~Q(mrn=""), name="patient_has_mrn"),
            models.CheckConstraint(condition=~Q(given_names=""), name="patient_has_name"),
            models.CheckConstraint(
                condition=~Q(merged_into=F("id")), name="patient_not_merged_into_itself"
            ),
        ]
        indexes = [
            models.Index(
                fields=["id"],
                condition=Q(compare_with_register=True),
                name="patient_to_compare",
            ),
            # Whose address is it? Asked of what comes back, and for each morning list.
            models.Index(Lower("email"), name="patient_email"),
        ]

    def __str__(self) -> str:
        return f"patient {self.pk}"  # no facts: this text reaches logs

    @property
    def full_name(self) -> str:
        return f"{self.given_names} {self.family_names}".strip()


class PatientChange(AppendOnly):
    """What a patient's record said from this instant on, whole; the first row is the enrolment."""

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="changes")
    mrn = models.CharField(max_length=40)
    given_names = models.CharField(max_length=200)
    family_names = models.CharField(max_length=200, blank=True)
    birth_date = models.DateField()
    email = models.EmailField(max_length=254, blank=True)
    phone = models.CharField(max_length=40, blank=True)
    language = models.CharField(max_length=8)
    source = models.CharField(max_length=200)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["recorded_at", "id"]


# --- whose is it: other names, the derived look-up tables, duplicates and merges -----------------


class OtherName(AppendOnly):
    """A former or preferred name of a patient; it takes part in matching until it is ended."""

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="other_names")
    kind = models.CharField(max_length=12, choices=[(k, k) for k in NameKind])
    given_names = models.CharField(max_length=200)
    family_names = models.CharField(max_length=200, blank=True)
    source = models.CharField(max_length=200)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=[NameKind.FORMER, NameKind.PREFERRED]), name="other_name_kind"
            ),
            models.CheckConstraint(condition=~Q(given_names=""), name="other_name_not_empty"),
        ]


class OtherNameEnd(AppendOnly):
    """The other name was never right, or is not to be used any more, and why."""

    name = models.OneToOneField(OtherName, on_delete=models.PROTECT, related_name="end")
    reason = models.CharField(max_length=500)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")


class MatchName(models.Model):
    """Derived: one name under which a patient may be found, in normal form (patients.match_keys).

    A merged record's names stand under the patient who was kept, with the date of birth that the
    merged record has.
    """

    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="match_names")
    kind = models.CharField(max_length=12, choices=[(k, k) for k in NameKind])
    given = models.CharField(max_length=420)
    family = models.CharField(max_length=420)
    generation = models.CharField(max_length=8, blank=True)
    birth_date = models.DateField()


class MatchKey(models.Model):
    """Derived: the look-up keys of a name, hashes only (patients.rules.identity_keys)."""

    key = models.BigIntegerField()
    name = models.ForeignKey(
        MatchName, on_delete=models.CASCADE, related_name="keys", db_index=True
    )

    class Meta:
        indexes = [models.Index(fields=["key", "name"], name="match_key_look_up")]


class SearchWord(models.Model):
    """Derived: a word by whose beginning staff find a patient (patients.match_keys).

    The words of every name, the date of birth (1980-05-03), and the MRN whole and in its parts;
    of merged records too.
    """

    patient = models.ForeignKey(
        Patient, on_delete=models.CASCADE, related_name="search_words", db_index=False
    )
    word = models.CharField(max_length=100)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["patient", "word"], name="search_word_once")]
        indexes = [
            models.Index(
                fields=["word", "patient"],
                # In every locale, so that the beginning of a word is a range of the index.
                opclasses=["varchar_pattern_ops", "int8_ops"],
                name="search_word_begins",
            )
        ]


class LikelyDuplicate(models.Model):
    """Derived: two records that the identity engine takes for one person; `one` is the older."""

    one = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="+")
    other = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="+")
    weight = models.FloatField()
    reasons = models.JSONField(default=list)
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["-weight", "id"]
        constraints = [
            models.UniqueConstraint(fields=["one", "other"], name="likely_duplicate_once"),
            models.CheckConstraint(
                condition=Q(one__lt=F("other")), name="likely_duplicate_in_order"
            ),
        ]


class KeptApart(AppendOnly):
    """A member of staff says that two records are two people."""

    one = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="+")
    other = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=500, blank=True)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(one__lt=F("other")), name="kept_apart_in_order")
        ]


class KeptApartEnd(AppendOnly):
    """The two records are not said to be two people any more."""

    kept_apart = models.OneToOneField(KeptApart, on_delete=models.PROTECT, related_name="end")
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")


class Merge(AppendOnly):
    """Two records are one person: `kept` speaks for both from here on."""

    kept = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="merges")
    merged = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="merged_by")
    reason = models.CharField(max_length=500)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(condition=~Q(kept=F("merged")), name="merge_of_two"),
            models.CheckConstraint(condition=~Q(reason=""), name="merge_has_reason"),
        ]


class MergeUndone(AppendOnly):
    """The merge was a mistake: from here on they are two patients again."""

    merge = models.OneToOneField(Merge, on_delete=models.PROTECT, related_name="undone")
    reason = models.CharField(max_length=500)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="merge_undone_has_reason")
        ]


# --- the schedule --------------------------------------------------------------------------------


class Procedure(models.Model):
    """A kind of operation, under the code and name that schedules print."""

    code = models.CharField(max_length=40)
    name = models.CharField(max_length=200)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(Lower("code"), name="procedure_code_once"),
            models.UniqueConstraint(Lower("name"), name="procedure_name_once"),
        ]

    def __str__(self) -> str:
        return self.name


class Booking(StrEnum):
    PROPOSED = "proposed"
    CONFIRMED = "confirmed"
    ON_HOLD = "on_hold"
    DONE = "done"
    CANCELLED = "cancelled"


OPEN_BOOKINGS = (Booking.PROPOSED, Booking.CONFIRMED, Booking.ON_HOLD)


class OperationQuerySet(models.QuerySet["Operation"]):
    def still_open(self) -> Self:
        """Proposed, confirmed or on hold."""
        return self.filter(booking__in=OPEN_BOOKINGS)

    def upcoming(self, *, on: date) -> Self:
        """Open, and dated today or later, or without a date."""
        return self.still_open().filter(Q(or_date__isnull=True) | Q(or_date__gte=on))

    def date_passed(self, *, on: date) -> Self:
        """Still open although its date is over: somebody has to say what happened."""
        return self.still_open().filter(or_date__lt=on)


class Operation(models.Model):
    """One planned procedure for one patient, as it is now."""

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="operations")
    procedure = models.ForeignKey(Procedure, on_delete=models.PROTECT, related_name="operations")
    case_number = models.CharField(max_length=40, blank=True)
    surgeon = models.CharField(max_length=200, blank=True)
    facility = models.CharField(max_length=200, blank=True)
    or_date = models.DateField("OR date", null=True, db_index=True)
    booking = models.CharField(max_length=12, choices=[(b, b) for b in Booking])
    version = models.PositiveIntegerField(default=1)
    recorded_at = models.DateTimeField()

    objects = OperationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["case_number"], condition=~Q(case_number=""), name="operation_case_once"
            ),
            models.CheckConstraint(
                condition=Q(booking__in=list(Booking)), name="operation_booking_known"
            ),
            models.CheckConstraint(
                condition=Q(or_date__isnull=False) | ~Q(booking=Booking.CONFIRMED),
                name="operation_confirmed_has_date",
            ),
        ]

    def __str__(self) -> str:
        return f"operation {self.pk}"

    @property
    def is_open(self) -> bool:
        return self.booking in OPEN_BOOKINGS


class OperationMoved(AppendOnly):
    """An operation went from one patient's record to another's with a merge, or back."""

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="moves")
    merge = models.ForeignKey(Merge, on_delete=models.PROTECT, related_name="moved_operations")
    from_patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="+")
    to_patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["recorded_at", "id"]


class OperationChange(AppendOnly):
    """What was planned from this instant on, whole; the first row is the booking itself."""

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="changes")
    version = models.PositiveIntegerField()
    procedure = models.ForeignKey(Procedure, on_delete=models.PROTECT, related_name="+")
    surgeon = models.CharField(max_length=200, blank=True)
    facility = models.CharField(max_length=200, blank=True)
    or_date = models.DateField(null=True)
    booking = models.CharField(max_length=12)
    reason = models.CharField(max_length=500, blank=True)
    source = models.CharField(max_length=200)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["version"]
        constraints = [
            models.UniqueConstraint(fields=["operation", "version"], name="operation_version_once")
        ]


class Means(models.TextChoices):
    CALL = "call", "Call"
    LETTER = "letter", "Letter"
    CONVERSATION = "conversation", "Conversation"


class Outcome(models.TextChoices):
    REACHED = "reached", "Reached"
    LEFT_A_MESSAGE = "left_a_message", "Left a message"
    NO_ANSWER = "no_answer", "No answer"
    WRONG_NUMBER = "wrong_number", "Wrong number"
    SENT = "sent", "Sent"


class ContactQuerySet(models.QuerySet["Contact"]):
    def standing(self) -> Self:
        """Those that nobody corrected."""
        return self.filter(correction__isnull=True)

    def latest_first(self) -> Self:
        """By when they were made, whenever they were written down."""
        return self.order_by(Coalesce("made_at", "recorded_at").desc(), "-id")


class Contact(AppendOnly):
    """One attempt to reach a patient, its means and its outcome."""

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="contacts")
    means = models.CharField(max_length=16, choices=Means)
    outcome = models.CharField(max_length=16, choices=Outcome)
    note = models.CharField(max_length=1000, blank=True)
    next_on = models.DateField(null=True, blank=True)
    # When it was made, where that was before it was written down: it stands for a corrected one.
    made_at = models.DateTimeField(null=True)
    recorded_at = models.DateTimeField(db_index=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    objects = ContactQuerySet.as_manager()

    class Meta:
        ordering = ["recorded_at", "id"]
        indexes = [
            models.Index(
                fields=["next_on", "patient"],
                condition=Q(next_on__isnull=False),
                name="contact_next_on",
            )
        ]

    @property
    def at(self) -> datetime:
        """When it was made."""
        return self.made_at or self.recorded_at


class ContactCorrection(AppendOnly):
    """A contact was written down wrongly: `instead` stands in its place, or nothing does."""

    contact = models.OneToOneField(Contact, on_delete=models.PROTECT, related_name="correction")
    instead = models.OneToOneField(
        Contact, null=True, on_delete=models.PROTECT, related_name="corrects"
    )
    reason = models.CharField(max_length=500)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="contact_correction_has_reason"),
            models.CheckConstraint(
                condition=~Q(contact=F("instead")), name="contact_correction_of_two"
            ),
        ]


# --- schedule messages: what came in, and what came of it ---------------------------------------


class IntakeMessage(AppendOnly):
    """A schedule message about one operation, as it came; whatever its format.

    A message that is sent again has the same control id from the same sender: it is kept once.
    The content stays: it is the evidence of what the sender said.
    """

    format = models.CharField(max_length=12, choices=[(f, f) for f in MessageFormat])
    # The sending application and facility, or whatever else tells one sender from another.
    sender = models.CharField(max_length=200, blank=True)
    control_id = models.CharField(max_length=200)
    trigger = models.CharField(max_length=40, blank=True)
    case_number = models.CharField(max_length=40, blank=True, db_index=True)
    # When the sender says that it was sent; None when it does not say.
    sent_at = models.DateTimeField(null=True)
    source = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    content = models.BinaryField()
    received_at = models.DateTimeField(db_index=True)

    class Meta:
        ordering = ["received_at", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["format", "sender", "control_id"], name="intake_message_once"
            ),
            models.CheckConstraint(condition=~Q(control_id=""), name="intake_message_has_id"),
        ]

    def __str__(self) -> str:
        return f"message {self.pk}"  # no facts: this text reaches logs


class Step(StrEnum):
    """What can come of a message."""

    APPLIED = "applied"
    UNCHANGED = "unchanged"
    WAITS = "waits"
    SET_ASIDE = "set_aside"
    OVERTAKEN = "overtaken"
    REFUSED = "refused"


class IntakeStepQuerySet(models.QuerySet["IntakeStep"]):
    def in_force(self) -> Self:
        """The latest step of each message."""
        return self.filter(ended_by__isnull=True)

    def waiting(self) -> Self:
        """What waits for a person now."""
        return self.in_force().filter(step=Step.WAITS)


class IntakeStep(AppendOnly):
    """One thing that came of a message, by itself (`by` is empty) or by a person.

    The first step is taken as the message comes in; each later one `ends` the one before, so two
    people cannot settle one message twice.
    """

    message = models.ForeignKey(IntakeMessage, on_delete=models.PROTECT, related_name="steps")
    step = models.CharField(max_length=12, choices=[(s, s) for s in Step])
    ends = models.OneToOneField(
        "self", null=True, on_delete=models.PROTECT, related_name="ended_by"
    )
    # The typed reasons, as they were when the step was taken: reason, where in the message, detail.
    reasons = models.JSONField(default=list)
    # A person's reason.
    note = models.CharField(max_length=500, blank=True)
    patient = models.ForeignKey(
        Patient, null=True, on_delete=models.PROTECT, related_name="intake_steps"
    )
    operation = models.ForeignKey(
        Operation, null=True, on_delete=models.PROTECT, related_name="intake_steps"
    )
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = IntakeStepQuerySet.as_manager()

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["message"], condition=Q(ends__isnull=True), name="intake_first_step_once"
            ),
            models.CheckConstraint(condition=Q(step__in=list(Step)), name="intake_step_known"),
            models.CheckConstraint(
                condition=~Q(step=Step.SET_ASIDE) | (Q(by__isnull=False) & ~Q(note="")),
                name="intake_set_aside_has_reason",
            ),
        ]
        indexes = [
            models.Index(fields=["message"], condition=Q(step=Step.WAITS), name="intake_step_waits")
        ]


# --- how schedules come in: what a file's columns are, and who may send a bundle -----------------


class ScheduleReading(AppendOnly):
    """How files with these headings are read, as somebody said; the latest row is in force.

    `key` is one for the same headings in any order (patients.rules.schedule_reading).
    """

    key = models.CharField(max_length=64, db_index=True)
    headings = models.JSONField()
    # Each of our columns, to the heading and, where the file has it twice, which of them.
    columns = models.JSONField()
    # What words of the status column mean, and which procedure names mean; null: not one of ours.
    plans = models.JSONField(default=dict)
    procedures = models.JSONField(default=dict)
    # 03/04/2027 is 3 April; null: nobody said.
    day_first = models.BooleanField(null=True)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recorded_at", "id"]


class IntakeToken(models.Model):
    """Leave for one system to send schedules; only the token's SHA-256 is kept. Never deleted."""

    name = models.CharField(max_length=120)
    digest = models.CharField(max_length=64, unique=True)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    last_used_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)
    revoked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="intake_token_has_name"),
        ]

    def __str__(self) -> str:
        return f"intake token {self.pk}"


def latest_first(field: str = "recorded_at") -> tuple[models.OrderBy, models.OrderBy]:
    """Return the ordering that puts the row in force first."""
    return F(field).desc(), F("id").desc()
