"""The records behind IS THE PATIENT CLEARED."""

from typing import Any, Self

from django.conf import settings
from django.db import models
from django.db.models import Q

from education.models.answers import IdentityDecision
from education.models.teaching import Edition, Module
from education.rules.standing import Evidence
from patients.models import AppendOnly, Merge, Patient


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

    assignment = models.ForeignKey("Assignment", on_delete=models.PROTECT, related_name="sign_offs")
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

    assignment = models.ForeignKey("Assignment", on_delete=models.PROTECT, related_name="waivers")
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
