"""Eating plans in the demo: who was asked, who got one, what was chosen and ticked.

Look at TF-30114 for a date that moved after the plan was given, at TF-30106 for insulin that waits
for a signature, at TF-30126 for a plan whose email failed, and at TF-30104 for a short one.
"""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import ClassVar

from clinic.demo.events import Event, RefusingMailServer
from clinic.demo.people import Person
from clinic.demo.schedule_export import first_export, plans
from clinic.demo.stage import Stage, operation, patient
from education import stage_tables
from education.by_email import ByEmail
from education.eating_record import TypedFacts, choose, record_facts
from education.models import GivenBy, Message
from education.plan_link import PlanRefusal, send_plan
from education.plan_moves import hand_over
from education.plan_of import plan_of
from education.plan_ticks import tick
from education.rules.body_numbers import Sex
from education.rules.may_give import Medicine
from education.send import send

AHEAD = 26  # days before the OR date at which the plan is usually given
LAST_OVER = -14  # days since the OR date, of the last who are still at home by their plan
UNSIGNED, REFUSED, NOT_GIVEN = "TF-30106", "TF-30126", ("TF-30104", "TF-30115", "TF-30116")
TICKS = "TF-30113"
SEX = {0: Sex.FEMALE, 1: Sex.MALE, 2: Sex.FEMALE}


def plan_events(person: Person) -> tuple[Event, ...]:
    """Return what happened about a patient's eating plan so far."""
    first = plans(person)[0]
    if first.or_day is None or not LAST_OVER <= first.or_day <= AHEAD - 3:
        return ()
    given = min(first_export(person) - 1, AHEAD - first.or_day)
    if person.mrn in NOT_GIVEN or given < 1:
        return ()
    asked = Asked(given, person.number, diabetes=person.mrn == UNSIGNED)
    if person.mrn == UNSIGNED:
        return (asked,)
    events: tuple[Event, ...] = (asked, GotPlan(given, refused=person.mrn == REFUSED))
    if person.number % 2 and person.mrn != REFUSED and person.email:
        events = (*events, ChoseMeals(given))
    if person.mrn == TICKS:
        began = min(14 - first.or_day, 14)
        events = (*events, *(Ticked(ago, began - ago) for ago in range(began, 0, -1)))
    return events


@dataclass(frozen=True)
class Asked:
    """The dietitian asked about weight, height and medicines."""

    days_ago: int
    number: int
    diabetes: bool = False
    hour: ClassVar[int] = 15

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        pounds = 228 + self.number * 7 % 90
        inches = 62 + self.number % 9
        said: dict[Medicine, bool | None] = dict.fromkeys(Medicine, False)
        said[Medicine.DIABETES] = self.diabetes
        said[Medicine.BLOOD_PRESSURE] = self.number % 4 == 0
        facts = TypedFacts(
            weight_typed=f"{pounds} lb",
            weight_kg=Decimal(pounds) * Decimal("0.45359237"),
            height_typed=f"{inches // 12}'{inches % 12}\"",
            height_cm=Decimal(inches) * Decimal("2.54"),
            sex=SEX[self.number % 3],
            said=said,
        )
        record_facts(patient(mrn), facts, at=at, by_id=stage.dietitian)


@dataclass(frozen=True)
class GotPlan:
    """The dietitian sent the plan's link, or gave it on paper; `refused`: the mail came back."""

    days_ago: int
    refused: bool = False
    hour: ClassVar[int] = 16

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        booked = operation(mrn)
        table = stage_tables.current()
        if table is None:
            raise ValueError("the demo's programme has no stages")
        if not booked.patient.email:
            hand_over(booked, table, GivenBy.PRINT, at=at, by_id=stage.dietitian)
            return
        link = send_plan(booked, at=at, by_id=stage.dietitian)
        if isinstance(link, PlanRefusal):
            raise ValueError(f"{mrn} cannot get a plan: {link}")
        message = Message.objects.get(plan_link=link)
        send(message.pk, at=at, channel=ByEmail(RefusingMailServer()) if self.refused else None)


@dataclass(frozen=True)
class ChoseMeals:
    """The patient chose the days of the solid meals behind the link."""

    days_ago: int
    hour: ClassVar[int] = 18

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        table = stage_tables.current()
        if table is None:
            raise ValueError("the demo's programme has no stages")
        usual = stage_tables.usual_stay(table)
        choose(
            operation(mrn),
            meals=[-12, -9, -6, -4],
            nights=usual.nights,
            first_visit_days=usual.first_visit_days,
            at=at,
            by_id=None,
        )


@dataclass(frozen=True)
class Ticked:
    """The patient ticked what was done; the third shake is not for every day."""

    days_ago: int
    number: int
    hour: ClassVar[int] = 21

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        found = plan_of(operation(mrn), at=at)
        today = found.plan.on(found.today) if found else None
        if found is None or today is None:
            return
        shakes = min(today.amounts.supplements, 2 + self.number % 2)
        for done in range(1, shakes + 1):
            tick(found, found.today, f"shake-{done}", done=True, at=at)
