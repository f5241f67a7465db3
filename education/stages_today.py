"""Who is in which stage of the eating plan on a day, and who should have a plan and has none.

A handful of queries, however many patients there are.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, Q

from education.eating_record import counts
from education.models import EatingChoices, EatingPlanGiven, StageTable
from education.plan_of import followed_until, stay_of
from education.rules.eating_plan import Choices, Daily, EatingPlan, eating_plan
from education.rules.eating_stages import Stage, Stay, days_needed_before
from education.stage_tables import current, stages_of, usual_stay
from patients import programme
from patients.clock import local_date
from patients.models import Booking, Operation, OperationChange

SOON = 7  # days ahead within which a plan that starts and was not given is named
NOTHING = Daily(Decimal(0), 0)  # which day it is does not hang on the amounts


@dataclass(frozen=True)
class Here:
    """Which day of a stage it is for a patient. `void`: the copy has another OR date."""

    operation: Operation
    number: int
    of: int
    void: bool


@dataclass(frozen=True)
class Today:
    """`by_stage`: in the order of the stages, those without anybody too.

    `without`: should start by `today` + SOON days, or should have, and has no plan; with the day.
    """

    table: StageTable
    on: date
    by_stage: list[tuple[Stage, list[Here]]]
    waiting: list[tuple[Operation, date]]
    without: list[tuple[Operation, date]]


def stages_today(*, at: datetime) -> Today | None:
    """Return who is where at an instant; None: the programme has no stages."""
    table = current()
    if table is None:
        return None
    zone = programme.current().zone
    on = local_date(at, zone)
    stages, usual = stages_of(table), usual_stay(table)
    by_stage: dict[str, list[Here]] = {stage.key: [] for stage in stages}
    waiting, without = [], []
    for operation in _operations(on):
        stay, meals = _chosen(operation, usual)
        given = tuple(one for one in operation.plans_given.all() if counts(one))
        first = (operation.or_date or on) - timedelta(days=days_needed_before(stages, stay))
        if not given:
            if operation.booking != Booking.DONE and first <= on + timedelta(days=SOON):
                without.append((operation, first))
            continue
        plan = _plan(operation, stages, Choices(stay, meals), given, zone, on=on)
        if plan.days and plan.days[0].day > on:
            waiting.append((operation, plan.days[0].day))
        for stage, here in _here(operation, plan, given, on=on):
            by_stage[stage.key].append(here)
    return Today(table, on, [(stage, by_stage[stage.key]) for stage in stages], waiting, without)


def _operations(on: date) -> Iterable[Operation]:
    """Operations with a date that are ahead, or done so lately that the plan may still run."""
    lately = on - timedelta(days=120)
    copies = EatingPlanGiven.objects.order_by("recorded_at", "id").select_related("link__message")
    return (
        Operation.objects.filter(
            Q(booking=Booking.DONE, or_date__gte=lately, plans_given__isnull=False)
            | (Q(or_date__gte=on) & ~Q(booking__in=[Booking.DONE, Booking.CANCELLED]))
        )
        .distinct()
        .select_related("patient", "procedure")
        .prefetch_related(
            Prefetch("plans_given", queryset=copies),
            Prefetch(
                "eating_choices", queryset=EatingChoices.objects.order_by("-recorded_at", "-id")
            ),
            Prefetch("changes", queryset=OperationChange.objects.order_by("-version")),
        )
        .order_by("or_date", "id")
    )


def _chosen(operation: Operation, usual: Stay) -> tuple[Stay, tuple[int, ...]]:
    latest = next(iter(operation.eating_choices.all()), None)
    return stay_of(operation, latest, usual).stay, tuple(latest.meals) if latest else ()


def _plan(
    operation: Operation,
    stages: tuple[Stage, ...],
    choices: Choices,
    given: tuple[EatingPlanGiven, ...],
    zone: ZoneInfo,
    *,
    on: date,
) -> EatingPlan:
    needed = days_needed_before(stages, choices.stay)
    before = followed_until(operation.changes.all(), given, zone, needed=needed, on=on)
    return eating_plan(
        operation.or_date,
        stages,
        choices,
        NOTHING,
        given_on=before.since,
        today=on,
        done=operation.booking == Booking.DONE,
        behind=before.before,
    )


def _here(
    operation: Operation, plan: EatingPlan, given: tuple[EatingPlanGiven, ...], *, on: date
) -> Iterable[tuple[Stage, Here]]:
    today = plan.on(on)
    for stage in today.stages if today else ():
        days = [one.day for one in plan.days if stage in one.stages]
        void = given[-1].or_date != operation.or_date
        yield stage, Here(operation, days.index(on) + 1, len(days), void)
