"""One patient's eating plan on a day: read what is on record, and ask the rules."""

from collections.abc import Iterable, Sequence
from copy import copy
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from education.eating_record import (
    answers_of,
    choices_of,
    counts,
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
    PlanDateTold,
    StageTable,
)
from education.plan_moves import latest_told
from education.rules.body_numbers import Body, Sex
from education.rules.booked_stay import BookedStay, StayDoubt, booked_stay
from education.rules.eating_plan import Choices, Daily, EatingPlan, eating_plan
from education.rules.eating_stages import Stay, days_needed_before, refusals
from education.rules.fluids import Pace, Sipping, sipping
from education.rules.may_give import Answers, Hold, holds
from education.rules.patient_numbers import Numbers, OwnNumber, patient_numbers
from education.rules.restricted_days import Dated, Followed, followed
from education.stage_tables import current, flaws, settings_of, stages_of, usual_stay
from patients import programme
from patients.clock import local_date
from patients.models import Booking, Operation, OperationChange, Patient, Programme


@dataclass(frozen=True)
class PlanOf:
    """Everything that a page about one operation's plan shows. `today`: the day it was asked.

    `given`: the copies that count; `undelivered`: those whose email failed or was withdrawn.
    `told`: how the patient heard of the last move, None if the date never moved since the first
    copy. `stay_doubts`: booked dates that the plan could not count by.
    """

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
    stay_doubts: tuple[StayDoubt, ...]
    given: tuple[EatingPlanGiven, ...]
    undelivered: tuple[EatingPlanGiven, ...]
    told: PlanDateTold | None
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
    booked = stay_of(operation, choices, usual_stay(table))
    copies = copies_of(operation)
    given = tuple(one for one in copies if counts(one))
    answers = answers_of(facts)
    stages = stages_of(table)
    before = followed_until(
        changes, given, settings.zone, needed=days_needed_before(stages, booked.stay), on=on
    )
    plan = eating_plan(
        operation.or_date,
        stages,
        Choices(booked.stay, tuple(choices.meals) if choices else ()),
        Daily(numbers.per_serving.value or Decimal(0), int(numbers.fluid.value or 0)),
        given_on=before.since,
        today=on,
        done=operation.booking == Booking.DONE,
        cancelled=operation.booking == Booking.CANCELLED,
        behind=before.before,
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
        stay=booked.stay,
        stay_doubts=booked.doubts,
        given=given,
        undelivered=tuple(one for one in copies if one not in given),
        told=latest_told(operation),
        today=on,
    )


def sipping_of(found: PlanOf, *, at: datetime) -> Sipping:
    """Return how long the fluid target takes at the programme's pace, begun at an instant."""
    table = found.table
    return sipping(
        found.numbers.fluid.value or Decimal(0),
        Pace(table.sip_oz, table.sip_minutes),
        begin=at,
        bedtime=table.bedtime,
        zone=found.programme.zone,
    )


def copies_of(operation: Operation) -> tuple[EatingPlanGiven, ...]:
    """Return every copy that was given or sent, the first one first, with its email."""
    rows = EatingPlanGiven.objects.filter(operation=operation)
    return tuple(rows.select_related("by", "table", "link__message"))


def stay_of(operation: Operation, choices: EatingChoices | None, usual: Stay) -> BookedStay:
    """Return the stay of an operation's plan: what is booked, else what was chosen, else usual."""
    if choices is None:
        return BookedStay(usual)
    return booked_stay(
        Stay(choices.nights, choices.first_visit_days),
        operation.or_date,
        home_on=choices.home_on,
        first_visit_on=choices.first_visit_on,
    )


def _body(patient: Patient, facts: EatingFacts | None) -> Body:
    sex = Sex(facts.sex_for_formulas) if facts and facts.sex_for_formulas else None
    return Body(
        kg=facts.weight_kg if facts else None,
        cm=facts.height_cm if facts else None,
        sex=sex,
        birth_date=patient.birth_date,
    )


def followed_until(
    changes: Iterable[OperationChange],
    given: Sequence[EatingPlanGiven],
    zone: ZoneInfo,
    *,
    needed: int,
    on: date,
) -> Followed:
    """Return since when the patient can have followed the plan, and what of it was before a move.

    `changes`: the operation's, the latest first; `given`: the copies that count, the first one
    first. Without a copy it is the day asked about.
    """
    if not given:
        return Followed(on)
    history: list[Dated] = []
    for change in reversed(list(changes)):
        or_date = None if change.booking == Booking.CANCELLED else change.or_date
        if not history or history[-1].or_date != or_date:
            history.append(Dated(min(local_date(change.recorded_at, zone), on), or_date))
    first_copy = min(local_date(given[0].recorded_at, zone), on)
    return followed(history, needed=needed, given_on=first_copy)
