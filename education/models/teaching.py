"""WHAT is to be learned: modules, their editions, and which procedure needs them when."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q, Value

from education.rules.scoring import Kind
from patients.models import AppendOnly, Procedure


class Module(models.Model):
    """One teaching unit; its words are in its editions."""

    code = models.SlugField(max_length=60, unique=True)

    def __str__(self) -> str:
        return self.code

    @property
    def latest_edition(self) -> "Edition":
        """The edition that is taught now; IndexError before the first one."""
        return self.editions.order_by("-number")[0]


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


class EditionSign(AppendOnly):
    """A clinician of the programme signs an edition: its words are the programme's from here on.

    It blocks nothing. Until then every page of staff's that shows the module says “unsigned”.
    """

    edition = models.OneToOneField(Edition, on_delete=models.PROTECT, related_name="sign")
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")


class Section(AppendOnly):
    edition = models.ForeignKey(Edition, on_delete=models.PROTECT, related_name="sections")
    position = models.PositiveSmallIntegerField()
    key = models.SlugField(max_length=60)
    heading = models.JSONField()
    body = models.JSONField()
    ask_yourself = models.JSONField(default=dict, db_default=Value({}, models.JSONField()))
    # For staff, in English: where it comes from. No patient's page shows it.
    sources = models.TextField(blank=True, default="", db_default="")
    # What it shows beside its words, as in the module's record; files by their names.
    pictures = models.JSONField(default=list, db_default=Value([], models.JSONField()))
    video = models.JSONField(default=dict, db_default=Value({}, models.JSONField()))

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["edition", "position"], name="section_position_once"),
            models.UniqueConstraint(fields=["edition", "key"], name="section_key_once"),
        ]


class Question(AppendOnly):
    """One version of a question; an attempt asks one version of each.

    All versions of a question have its key, place, kind and safety-critical mark.
    """

    edition = models.ForeignKey(Edition, on_delete=models.PROTECT, related_name="questions")
    section = models.ForeignKey(Section, on_delete=models.PROTECT, related_name="+")
    position = models.PositiveSmallIntegerField()
    key = models.SlugField(max_length=60)
    version = models.PositiveSmallIntegerField(default=1, db_default=1)
    shuffle = models.BooleanField(default=False, db_default=False)
    kind = models.CharField(max_length=12, choices=[(k, k) for k in Kind])
    safety_critical = models.BooleanField(default=False)
    stem = models.JSONField()
    explanation = models.JSONField()
    # What staff ask in a teach-back; empty: a sentence made of the section's heading.
    teach_back = models.JSONField(default=dict, db_default=Value({}, models.JSONField()))
    unit = models.JSONField(default=dict)
    number = models.DecimalField(max_digits=12, decimal_places=3, null=True)
    tolerance = models.DecimalField(max_digits=12, decimal_places=3, null=True)

    class Meta:
        ordering = ["position", "version"]
        constraints = [
            models.UniqueConstraint(
                fields=["edition", "position", "version"], name="question_place_once"
            ),
            models.UniqueConstraint(
                fields=["edition", "key", "version"], name="question_version_once"
            ),
            models.CheckConstraint(condition=Q(version__gte=1), name="question_version_from_1"),
            models.CheckConstraint(condition=Q(kind__in=list(Kind)), name="question_kind_known"),
            models.CheckConstraint(
                condition=Q(kind=Kind.NUMBER, number__isnull=False, tolerance__gte=0)
                | (~Q(kind=Kind.NUMBER) & Q(number__isnull=True, tolerance__isnull=True)),
                name="question_number_has_answer",
            ),
        ]

    @property
    def name(self) -> str:
        """What this version is called where all versions of an edition are listed."""
        return self.key if self.version == 1 else f"{self.key}.{self.version}"


class Option(AppendOnly):
    """One option of a choice, one item of an order, or one pair.

    Of an order `position` is the place that is right; of a pair `match` belongs to `text`.
    """

    question = models.ForeignKey(Question, on_delete=models.PROTECT, related_name="options")
    position = models.PositiveSmallIntegerField()
    key = models.SlugField(max_length=60)
    text = models.JSONField()
    match = models.JSONField(default=dict, db_default=Value({}, models.JSONField()))
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
