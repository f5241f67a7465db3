"""One patient's eating plan on a day: read what is on record, and ask the rules."""

from collections.abc import Iterable, Sequence
from copy import copy
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from itertools import takewhile
from zoneinfo import ZoneInfo

from education.eating_record import (
    answers_of,
    choices_of,
    facts_of,
    own_numbers,
    signature_for,
)
from education.models import (
    EatingChoices,
    EatingFacts,
    EatingPlanGiven,
    EatingSetAside,
    EatingSignedFor,
    StageTable,
)
from education.rules.body_numbers import Body, Sex
from education.rules.eating_plan import Choices, Daily, EatingPlan, eating_plan
from education.rules.eating_stages import Stay, refusals
from education.rules.may_give import Answers, Hold, holds
from education.rules.patient_numbers import Numbers, OwnNumber, patient_numbers
from education.stage_tables import current, flaws, settings_of, stages_of, usual_stay
from patients import programme
from patients.clock import local_date
from patients.models import Booking, Operation, OperationChange, Patient, Programme


@dataclass(frozen=True)
class PlanOf:
    """Everything that a page about one operation's plan shows. `today`: the day it was asked."""

    operation: Operation
    programme: Programme
    table: StageTable
    plan: EatingPlan
    numbers: Numbers
    answers: Answers
    holds: tuple[Hold, ...]
    facts: EatingFacts | None
    signature: EatingSignedFor | None
    own: dict[OwnNumber, EatingSetAside]
    choices: EatingChoices | None
    stay: Stay
    given: tuple[EatingPlanGiven, ...]
    today: date

    @property
    def patient(self) -> Patient:
        return self.operation.patient

    @property
    def may_be_given(self) -> bool:
        """Dates there are, and nothing holds it."""
        return not self.holds and self.plan.refused is None

    @property
    def overtaken(self) -> tuple[EatingPlanGiven, ...]:
        """Copies that the patient has for another OR date: they are void."""
        return tuple(one for one in self.given if one.or_date != self.operation.or_date)

    @property
    def needs_a_new_copy(self) -> bool:
        """The patient's last copy says another OR date than the record, or older stages."""
        if not self.given:
            return False
        last = self.given[-1]
        return last.or_date != self.operation.or_date or last.table_id != self.table.pk


def operation_for_plan(patient: Patient, *, on: date) -> Operation | None:
    """Return the operation that a patient's plan is about: the next one, else the latest done."""
    rows = Operation.objects.filter(patient=patient).select_related("procedure", "patient")
    coming = list(rows.still_open().order_by("or_date", "id"))
    dated = [one for one in coming if one.or_date is not None]
    ahead = [one for one in dated if one.or_date and one.or_date >= on]
    done = rows.filter(booking=Booking.DONE).order_by("-or_date", "-id").first()
    for found in (ahead[:1], [done] if done else [], coming[:1]):
        if found:
            return found[0]
    return rows.order_by("-or_date", "-id").first()


def plan_of(operation: Operation, *, at: datetime) -> PlanOf | None:
    """Return an operation's plan as it is at an instant; None: the programme has no stages."""
    return _plan_of(operation, _changes(operation), at=at)


def plan_if(
    operation: Operation, *, or_date: date | None, booking: str, at: datetime
) -> PlanOf | None:
    """Return the plan that an operation would have with this date and booking; writes nothing.

    It is read as if the operation had been changed at this instant: what fewer days are left by
    then is short. Copies for another OR date than this one are `overtaken`.
    """
    then = copy(operation)
    then.or_date, then.booking = or_date, booking
    changed = OperationChange(operation=then, or_date=or_date, booking=booking, recorded_at=at)
    return _plan_of(then, [changed, *_changes(operation)], at=at)


def _changes(operation: Operation) -> Sequence[OperationChange]:
    """Return an operation's history, the latest first."""
    return list(OperationChange.objects.filter(operation=operation).order_by("-version"))


def _plan_of(
    operation: Operation, changes: Sequence[OperationChange], *, at: datetime
) -> PlanOf | None:
    table = current()
    if table is None:
        return None
    settings = programme.current()
    on = local_date(at, settings.zone)
    patient = operation.patient
    facts, choices = facts_of(patient), choices_of(operation)
    own = own_numbers(patient)
    numbers = patient_numbers(
        _body(patient, facts),
        settings_of(table),
        {what: row.value for what, row in own.items() if row.value is not None},
        on=on,
    )
    stay = Stay(choices.nights, choices.first_visit_days) if choices else usual_stay(table)
    given = tuple(EatingPlanGiven.objects.filter(operation=operation).select_related("by", "table"))
    answers = answers_of(facts)
    plan = eating_plan(
        operation.or_date,
        stages_of(table),
        Choices(stay, tuple(choices.meals) if choices else ()),
        Daily(numbers.per_serving.value or Decimal(0), int(numbers.fluid.value or 0)),
        given_on=follows_from(
            operation,
            changes,
            given,
            settings.zone,
            on=on,
        ),
        today=on,
        done=operation.booking == Booking.DONE,
        cancelled=operation.booking == Booking.CANCELLED,
    )
    return PlanOf(
        operation=operation,
        programme=settings,
        table=table,
        plan=plan,
        numbers=numbers,
        answers=answers,
        holds=holds(answers, stages_ready=not refusals(flaws(table))),
        facts=facts,
        signature=signature_for(facts) if facts else None,
        own=own,
        choices=choices,
        stay=stay,
        given=given,
        today=on,
    )


def _body(patient: Patient, facts: EatingFacts | None) -> Body:
    sex = Sex(facts.sex_for_formulas) if facts and facts.sex_for_formulas else None
    return Body(
        kg=facts.weight_kg if facts else None,
        cm=facts.height_cm if facts else None,
        sex=sex,
        birth_date=patient.birth_date,
    )


def follows_from(
    operation: Operation,
    changes: Iterable[OperationChange],
    given: tuple[EatingPlanGiven, ...],
    zone: ZoneInfo,
    *,
    on: date,
) -> date:
    """Return the first day on which the patient can have followed the plan for this OR date.

    `changes`: the operation's, the latest first. Without a copy it is the day asked about.
    """
    if not given:
        return on
    since = given[0].recorded_at
    same = takewhile(lambda change: change.or_date == operation.or_date, changes)
    # The last of them is the row by which the OR date became the one that it is.
    dated = [change.recorded_at for change in same][-1:]
    return min(local_date(max(since, *dated), zone) if dated else local_date(since, zone), on)
