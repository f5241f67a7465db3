"""A requirement applied to one operation, and the standing of many at once, in SQL."""

from datetime import date, timedelta
from typing import Self

from django.db import models
from django.db.models import Count, Exists, F, OuterRef, Q
from django.db.models.lookups import GreaterThan

from education.models.clearances import Clearance, SignOff, Waiver
from education.models.teaching import Edition, Module, Requirement
from education.rules.standing import Standing
from patients.models import AppendOnly, Operation


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
