"""A requirement applied to one operation, and the standing of many at once, in SQL."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any, Self
from zoneinfo import ZoneInfo

from django.db import models
from django.db.models import Case, Count, Exists, F, OuterRef, Q, Subquery, Value, When
from django.db.models.functions import Coalesce, TruncDate
from django.db.models.lookups import (
    Exact,
    GreaterThan,
    GreaterThanOrEqual,
    IsNull,
    LessThan,
    LessThanOrEqual,
)

from education.models.clearances import Clearance, SignOff, Waiver
from education.models.conversations import Escalation, TeachBack
from education.models.teaching import Edition, Module, Requirement
from education.rules.order_of_day import Chance
from education.rules.standing import Standing
from education.rules.teach_back import TeachBackOutcome
from patients.models import AppendOnly, Contact, ContactQuerySet, Operation, Outcome, Patient


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

    def needing_a_person(self, *, on: date, notice_days: int, zone: ZoneInfo) -> Self:
        """Flagged, or not cleared and waiting for a call or a visit."""
        waiting = self.wanting_a_contact(on=on, zone=zone).values("pk")
        horizon = on + timedelta(days=notice_days)
        flagged = ~_is_cleared() & Q(Q(clear_by__lte=horizon) | _needs_sign_off())
        return self.filter(flagged | Q(pk__in=waiting))

    def wanting_a_contact(self, *, on: date, zone: ZoneInfo) -> Self:
        """Not cleared, and a call or a visit is wanted.

        The SQL twin of `education.rules.contact_wanted`; and, of what is open, what a teach-back
        said needs a visit, and whoever the surgeon's office is asked to help reach.
        """
        is_open = Q(opens_on__lte=on)
        reached = _date_reached(on)
        more = _by_phone(zone) | Q(_needs_visit() | Exists(calls_for_help()))
        return self.filter(
            # What is not open is looked at further for those few alone.
            is_open | Q(operation__patient__in=_had_a_next_contact(on)),
            _is_not_cleared(),
            Q(is_open, reached | more) | Q(reached, ~Exists(_opening_sooner(on))),
        )

    def in_order_of_day(self, *, on: date) -> Self:
        """The most that can still be saved first: the twin of `education.rules.order_of_day`."""
        undated = Q(clear_by__isnull=True) | Q(operation__or_date__isnull=True)
        ahead = Q(due_before_operation=True, operation__or_date__gte=on)
        chance = Case(
            When(undated, then=Chance.NOTHING_DATED),
            When(clear_by__gte=on, then=Chance.CLEAR_BY),
            When(ahead, then=Chance.OPERATION),
            default=Chance.LEARNING,
        )
        decides = Case(
            When(ahead & Q(clear_by__lt=on), then=F("operation__or_date")), default=F("clear_by")
        )
        return self.order_by(chance, decides.asc(nulls_last=True), "id")

    def counts(self, *, on: date, notice_days: int) -> dict[Standing, int]:
        """Return how many there are of each standing, in one query."""
        return counts_in(list(self.counted(on=on, notice_days=notice_days)))

    def counted(self, *, on: date, notice_days: int) -> "models.QuerySet[Assignment, Any]":
        """Count them: one row for all, in the order of `COUNTED`; none where there is nothing."""
        conditions = {
            Standing.CLEARED: _is_cleared(),
            Standing.NEEDS_SIGN_OFF: _needs_sign_off(),
            Standing.LATE: _is_not_cleared() & Q(clear_by__lt=on),
            Standing.DUE: _is_not_cleared() & _is_due(on, notice_days),
            Standing.NOT_DUE: _is_not_cleared() & _is_not_due(on, notice_days),
        }
        counted = {s: Count("pk", filter=conditions[s]) for s in COUNTED}
        return self.order_by().values(of=Value(1)).annotate(**counted).values_list(*COUNTED)


COUNTED = (
    Standing.CLEARED,
    Standing.NEEDS_SIGN_OFF,
    Standing.LATE,
    Standing.DUE,
    Standing.NOT_DUE,
)


def counts_in(rows: Sequence[Sequence[int]]) -> dict[Standing, int]:
    """Return what a query of `counted` says, by standing."""
    return dict(zip(COUNTED, rows[0] if rows else [0] * len(COUNTED), strict=True))


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


def calls_for_help() -> models.QuerySet[Escalation]:
    """Whether the surgeon's office is asked to help reach an assignment's patient."""
    whose = OuterRef(OuterRef("operation__patient"))
    records = Patient.objects.filter(Q(pk=whose) | Q(merged_into=whose))
    return Escalation.objects.filter(patient__in=records.values("pk"), end__isnull=True)


def _contacts() -> ContactQuerySet:
    """The contacts that stand with the assignment's patient, the latest first."""
    whose = OuterRef(OuterRef("operation__patient"))
    records = Patient.objects.filter(Q(pk=whose) | Q(merged_into=whose))
    return Contact.objects.standing().filter(patient__in=records.values("pk")).latest_first()


def _next_on() -> Subquery:
    return Subquery(_contacts().values("next_on")[:1])


def _date_reached(on: date) -> Q:
    return Q(LessThanOrEqual(_next_on(), Value(on)))


def _had_a_next_contact(on: date) -> models.QuerySet[Contact, int]:
    """Whose next contact date had come at some time, maybe before a later contact."""
    whose = Coalesce("patient__merged_into", "patient")
    return Contact.objects.filter(next_on__lte=on).values_list(whose, flat=True)


def _opening_sooner(on: date) -> AssignmentQuerySet:
    """What else the same patient has to learn that opens before an assignment."""
    never = Value(date.max)
    opens, theirs = Coalesce("opens_on", never), Coalesce(OuterRef("opens_on"), never)
    sooner = LessThan(opens, theirs)
    as_soon = Q(Exact(opens, theirs), pk__lt=OuterRef("pk"))
    return Assignment.objects.wanting_attention(on=on).filter(
        Q(sooner) | as_soon,
        _is_not_cleared(),
        operation__patient=OuterRef("operation__patient"),
    )


def _by_phone(zone: ZoneInfo) -> Q:
    """No address, no next date set, and nobody spoke with the patient since the window opened."""
    made_on = TruncDate(Coalesce("made_at", "recorded_at"), tzinfo=zone)
    spoken = _contacts().filter(GreaterThanOrEqual(made_on, OuterRef("opens_on")))
    return Q(
        IsNull(_next_on(), True),
        ~Exists(spoken.filter(outcome=Outcome.REACHED)),
        operation__patient__email="",
    )


def _needs_visit() -> Exists:
    later = TeachBack.objects.standing().filter(
        assignment=OuterRef("assignment"), pk__gt=OuterRef("pk")
    )
    return Exists(
        TeachBack.objects.standing().filter(
            ~Exists(later), assignment=OuterRef("pk"), outcome=TeachBackOutcome.NEEDS_VISIT
        )
    )


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
