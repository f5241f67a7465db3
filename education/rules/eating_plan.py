"""What is eaten and drunk on which day? The dated eating plan.

A pure function of the OR date, the programme's stages, the patient's choices and the day asked
about. Moving the OR date by k days moves every day of the plan by k and nothing else, because what
is chosen (days of solid meals, the first visit) is kept in days from the OR date.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from enum import StrEnum
from itertools import pairwise

from education.rules.eating_stages import Stage, Stay, days_needed_before


class NoDates(StrEnum):
    """Why no day of a plan may be shown."""

    NO_OR_DATE = "no_or_date"
    CANCELLED = "cancelled"
    DATE_PASSED = "date_passed"  # and nobody said that the operation was done
    OVER = "over"  # the plan's last day is past


class Note(StrEnum):
    """What has to be said with a plan that has dates."""

    STARTS_LATER = "starts_later"
    STARTS_TODAY = "starts_today"
    RUNNING = "running"
    SHORT = "short"  # fewer days are left than the plan needs
    LONGER = "longer"  # with the days before a moved date, more than the plan needs
    MEALS_NOT_CHOSEN = "meals_not_chosen"
    TOO_MANY_MEALS = "too_many_meals"
    MEALS_TOO_CLOSE = "meals_too_close"
    MEAL_TOO_LATE = "meal_too_late"
    MEAL_OUTSIDE = "meal_outside"
    MEAL_BEFORE_START = "meal_before_start"
    TWO_STAGES = "two_stages"
    NO_STAGE = "no_stage"


@dataclass(frozen=True)
class Told:
    """A note, with the days that it is about and a number of days where it has one."""

    note: Note
    days: tuple[date, ...] = ()
    count: int = 0


@dataclass(frozen=True)
class Choices:
    """What was chosen for one operation. `meals`: the days of solid meals from the OR date."""

    stay: Stay
    meals: tuple[int, ...] = ()


@dataclass(frozen=True)
class Amounts:
    """What one day, or all of them, come to: servings, grams of protein from them, mL, meals."""

    supplements: int = 0
    protein_g: Decimal = Decimal(0)
    fluid_ml: int = 0
    meals: int = 0

    def __add__(self, other: "Amounts") -> "Amounts":
        return Amounts(
            self.supplements + other.supplements,
            self.protein_g + other.protein_g,
            self.fluid_ml + other.fluid_ml,
            self.meals + other.meals,
        )


@dataclass(frozen=True)
class Daily:
    """The patient's numbers: protein in one serving of the supplement, and fluid a day."""

    protein_per_serving: Decimal
    fluid_ml: int


@dataclass(frozen=True)
class PlanDay:
    """One day. `offset`: days from the OR date. `stages`: one, unless the table has a flaw."""

    day: date
    offset: int
    stages: tuple[Stage, ...]
    meal: bool
    amounts: Amounts


@dataclass(frozen=True)
class EatingPlan:
    """`needed`: days before the OR date that the stages ask for; `short`: how many are missing;
    `behind`: days of the diet under earlier OR dates, before the first day of this plan.
    """

    or_date: date | None
    refused: NoDates | None
    days: tuple[PlanDay, ...] = ()
    totals: Amounts = Amounts()
    notes: tuple[Told, ...] = ()
    needed: int = 0
    short: int = 0
    behind: int = 0

    @property
    def restricted(self) -> int:
        """Days of the diet before the operation, those of earlier OR dates with them."""
        return self.behind + sum(one.offset < 0 for one in self.days)

    def on(self, day: date) -> PlanDay | None:
        """Return what a day says, None outside the plan."""
        return next((one for one in self.days if one.day == day), None)


def eating_plan(
    or_date: date | None,
    stages: Sequence[Stage],
    choices: Choices,
    daily: Daily,
    *,
    given_on: date,
    today: date,
    done: bool = False,
    cancelled: bool = False,
    behind: Sequence[date] = (),
) -> EatingPlan:
    """Return the plan.

    `given_on`: the day from which the patient can follow it: when it was given, or when the OR date
    became this one, whichever came later. It begins on that day where its first day is past by then
    ("n days short", standards DAT-6); never in the past. `done`: the operation was done that day.
    `behind`: days of the diet under earlier OR dates (`education.rules.restricted_days`).
    """
    needed = days_needed_before(stages, choices.stay)
    refused = _refused(or_date, today=today, done=done, cancelled=cancelled)
    if or_date is None or refused:
        return EatingPlan(or_date, refused, needed=needed)
    planned = _days(or_date, stages, choices, daily)
    if not planned or planned[-1].day < max(today, given_on):
        return EatingPlan(or_date, NoDates.OVER, needed=needed)
    days = tuple(day for day in planned if day.day >= given_on)
    short = min(len(planned) - len(days), needed)
    spent = tuple(day for day in behind if day < days[0].day)
    notes = (
        *_start(days[0].day, today=today, short=short),
        *_longer(days, spent, needed=needed),
        *meal_notes(or_date, stages, choices, begins=days[0].offset),
        *_flaws(days),
    )
    totals = sum((day.amounts for day in days), Amounts())
    return EatingPlan(or_date, None, days, totals, notes, needed, short, len(spent))


def _refused(or_date: date | None, *, today: date, done: bool, cancelled: bool) -> NoDates | None:
    if cancelled:
        return NoDates.CANCELLED
    if or_date is None:
        return NoDates.NO_OR_DATE
    if or_date < today and not done:
        return NoDates.DATE_PASSED
    return None


def _days(
    or_date: date, stages: Sequence[Stage], choices: Choices, daily: Daily
) -> tuple[PlanDay, ...]:
    spans = [(stage, stage.span(choices.stay)) for stage in stages]
    known = [days for _, days in spans if days]
    if not known:
        return ()
    first, last = min(days[0] for days in known), max(days[-1] for days in known)
    made = []
    for offset in range(first, last + 1):
        here = tuple(stage for stage, days in spans if offset in days)
        meal = offset in choices.meals and any(_may_have_meal(stage, offset) for stage in here)
        made.append(
            PlanDay(or_date + timedelta(offset), offset, here, meal, _amounts(here, meal, daily))
        )
    return tuple(made)


def _may_have_meal(stage: Stage, offset: int) -> bool:
    return stage.meals is not None and offset <= stage.meals.last_days


def _amounts(stages: tuple[Stage, ...], meal: bool, daily: Daily) -> Amounts:
    servings = max((stage.supplements for stage in stages), default=0)
    drinks = any(stage.counts_fluid for stage in stages)
    return Amounts(
        servings,
        servings * daily.protein_per_serving,
        daily.fluid_ml if drinks else 0,
        int(meal),
    )


def _start(first: date, *, today: date, short: int) -> Iterator[Told]:
    if first > today:
        yield Told(Note.STARTS_LATER, (first,), (first - today).days)
    elif first == today:
        yield Told(Note.STARTS_TODAY, (first,))
    else:
        yield Told(Note.RUNNING, (first,), (today - first).days + 1)
    if short:
        yield Told(Note.SHORT, (first,), short)


def _longer(days: tuple[PlanDay, ...], spent: tuple[date, ...], *, needed: int) -> Iterator[Told]:
    """Say that a moved date makes the diet longer than the stages ask for (standards DAT-5)."""
    total = len(spent) + sum(one.offset < 0 for one in days)
    if spent and total > needed:
        yield Told(Note.LONGER, (spent[0],), total)


def meal_days(stages: Sequence[Stage], stay: Stay, *, begins: int) -> list[int]:
    """Return the days, from the OR date, on which a solid meal may be, from `begins` on."""
    return [
        offset
        for stage in stages
        if stage.meals
        for offset in stage.span(stay)
        if begins <= offset <= stage.meals.last_days
    ]


def meal_notes(
    or_date: date, stages: Sequence[Stage], choices: Choices, *, begins: int
) -> Iterator[Told]:
    """Say what is wrong with the chosen days of solid meals; `begins`: the plan's first day."""
    with_meals = [stage for stage in stages if stage.meals]
    allowed = sum(stage.meals.count for stage in with_meals if stage.meals)
    chosen = sorted(set(choices.meals))
    if len(chosen) < allowed:
        yield Told(Note.MEALS_NOT_CHOSEN, (), allowed - len(chosen))
    if len(chosen) > allowed:
        yield Told(Note.TOO_MANY_MEALS, (), len(chosen) - allowed)
    for offset in chosen:
        day = or_date + timedelta(offset)
        stage = next((one for one in with_meals if offset in one.span(choices.stay)), None)
        if stage is None or stage.meals is None:
            yield Told(Note.MEAL_OUTSIDE, (day,))
        elif offset > stage.meals.last_days:
            yield Told(Note.MEAL_TOO_LATE, (day,), stage.meals.last_days)
        elif offset < begins:
            yield Told(Note.MEAL_BEFORE_START, (day,))
    apart = max((stage.meals.apart for stage in with_meals if stage.meals), default=1)
    for before, after in pairwise(chosen):
        if after - before < apart:
            both = (or_date + timedelta(before), or_date + timedelta(after))
            yield Told(Note.MEALS_TOO_CLOSE, both, apart)


def _flaws(days: tuple[PlanDay, ...]) -> Iterator[Told]:
    doubled = tuple(day.day for day in days if len(day.stages) > 1)
    bare = tuple(day.day for day in days if not day.stages)
    if doubled:
        yield Told(Note.TWO_STAGES, doubled)
    if bare:
        yield Told(Note.NO_STAGE, bare)
