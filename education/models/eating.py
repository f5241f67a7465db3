"""The eating plan: the programme's stages, and what was asked, chosen and given for a patient."""

from datetime import time
from decimal import Decimal
from enum import StrEnum

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from education.rules.body_numbers import WEIGHT_BASES, Basis, Sex
from education.rules.patient_numbers import OwnNumber
from patients.models import AppendOnly, Operation, Patient


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

    In days from the OR date, so that a moved date moves it: solid meals, nights, first visit. What
    is booked has a date of its own, and that one stays: going home, and the first visit. `by` None:
    the patient, behind the personal link.
    """

    operation = models.ForeignKey(
        Operation, on_delete=models.PROTECT, related_name="eating_choices"
    )
    meals = models.JSONField(default=list)
    nights = models.PositiveSmallIntegerField()
    first_visit_days = models.PositiveSmallIntegerField()
    home_on = models.DateField(null=True)
    first_visit_on = models.DateField(null=True)
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
    """A patient got the plan: made from which OR date, by which stage table.

    By email it counts as given unless its email failed or was withdrawn (`link.message`).
    """

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="plans_given")
    table = models.ForeignKey(StageTable, on_delete=models.PROTECT, related_name="+")
    or_date = models.DateField()
    means = models.CharField(max_length=12, choices=[(m, m) for m in GivenBy])
    link = models.OneToOneField(
        "PlanLink", null=True, on_delete=models.PROTECT, related_name="given"
    )
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(means__in=list(GivenBy)), name="plan_given_means")
        ]
