"""What the page of one patient's eating plan shows, in words; nothing is written."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from clinic import eating_copies, eating_words
from clinic.day_words import day
from clinic.eating_copies import CopyLine
from education.eating_record import own_number_history
from education.models import EatingSetAside
from education.plan_of import PlanOf, sipping_of
from education.plan_ticks import Ticks, ticks_of
from education.rules.eating_plan import Note, PlanDay
from education.rules.fluids import us_fl_oz, whole
from education.rules.may_give import to_tell_the_team
from education.rules.patient_numbers import OwnNumber, Shown
from education.rules.plan_items import items_of
from education.rules.supplements import Need, SupplementProblem, need

PLAIN_NOTES = (Note.STARTS_LATER, Note.STARTS_TODAY, Note.RUNNING)


@dataclass(frozen=True)
class NumberLine:
    """One number: its name, its value both ways, its basis, what staff set and why."""

    name: str
    value: str
    basis: str
    instead_of: str
    set_by: EatingSetAside | None
    what: OwnNumber | None


@dataclass(frozen=True)
class StageToday:
    """Where the patient is in the plan: the day's stage, and which of its days it is."""

    day: PlanDay
    name: str
    number: int
    of: int
    allowed: tuple[str, ...]
    avoided: tuple[str, ...]
    to_do: tuple[str, ...]


@dataclass(frozen=True)
class DayLine:
    """One day of the plan. `ticked`: what the patient says was done, "" for nothing."""

    day: PlanDay
    stage: str
    is_today: bool
    ticked: str


@dataclass(frozen=True)
class ChangeLine:
    """One change for this patient alone: when, what, why, and who; the latest first."""

    at: datetime
    what: str
    reason: str
    who: str


@dataclass(frozen=True)
class Page:
    """The whole page but the forms."""

    today: StageToday | None
    lead: str
    notes: list[str]
    holds: list[str]
    no_dates: str
    numbers: list[NumberLine]
    height: str
    sips: str
    team: list[str]
    discussed: str
    stay: str
    days: list[DayLine]
    totals: str
    about_the_copy: str
    must_tell: bool
    copies: list[CopyLine]
    changes: list[ChangeLine]


def page(found: PlanOf, *, at: datetime) -> Page:
    """Return what the page says."""
    plan = found.plan
    ticked = ticks_of(found.operation)
    plain = [told for told in plan.notes if told.note in PLAIN_NOTES]
    rest = [told for told in plan.notes if told.note not in PLAIN_NOTES]
    return Page(
        today=_today(found),
        lead=" ".join(eating_words.told(told, today=found.today) for told in plain),
        notes=[
            *(eating_words.told(told, today=found.today) for told in rest),
            *(eating_words.STAY_DOUBT[doubt] for doubt in found.stay_doubts),
        ],
        holds=[eating_words.HOLD[hold] for hold in found.holds],
        no_dates=eating_words.NO_DATES[plan.refused] if plan.refused else "",
        numbers=_numbers(found),
        height=eating_words.height(found.facts.height_cm if found.facts else None),
        sips=_sips(found, at=at),
        team=[eating_words.MEDICINE[one] for one in to_tell_the_team(found.answers)],
        discussed=_discussed(found),
        stay=_stay(found),
        days=[_day_line(one, found, ticked) for one in plan.days],
        totals=_totals(found),
        about_the_copy=eating_copies.about_the_copy(found),
        must_tell=eating_copies.must_tell(found),
        copies=eating_copies.copies(found),
        changes=_changes(found),
    )


def supplement(found: PlanOf, *, grams: Decimal, package: int | None) -> str:
    """Say what a product comes to: a day, the whole plan, and how many packages to buy."""
    each_day = [one.amounts.supplements for one in found.plan.days]
    whole_plan = need(each_day, per_serving_g=grams, in_package=package)
    if whole_plan == SupplementProblem.NO_PROTEIN:
        return "A product with 0 g of protein is no protein supplement."
    if not isinstance(whole_plan, Need):
        return "A package has one serving at least."
    if not each_day:
        return "The plan has no dates yet, so there is nothing to add up."
    most = max(each_day)
    said = (
        f"{_plain(grams)} g a serving: {most} a day are {_plain(most * grams)} g of protein; the "
        f"whole plan takes {whole_plan.servings} servings, {_plain(whole_plan.protein_g)} g."
    )
    if whole_plan.packages is not None:
        count = whole_plan.packages
        said += f" Buy {count} package{'' if count == 1 else 's'} of {package}."
    return said


def _today(found: PlanOf) -> StageToday | None:
    here = found.plan.on(found.today)
    if here is None or not here.stages:
        return None
    stage = here.stages[0]
    days = [one for one in found.plan.days if stage in one.stages]
    order = found.facts.fasting_order if found.facts else ""
    avoided = stage.avoided["en"]
    if stage.nothing_by_mouth and order and found.facts:
        avoided = (f"The surgical team’s order: “{order}” ({found.facts.fasting_order_by})",)
    return StageToday(
        here,
        stage.name["en"],
        days.index(here) + 1,
        len(days),
        stage.allowed["en"],
        avoided,
        stage.to_do["en"],
    )


def _numbers(found: PlanOf) -> list[NumberLine]:
    numbers = found.numbers
    basis = eating_words.BASIS[numbers.protein.weight.basis] if numbers.protein.weight else ""
    per_kg = (
        f"{_plain(numbers.protein.low_per_kg)} to {_plain(numbers.protein.high_per_kg)} g for each "
        f"kg of {basis}, at least {numbers.protein.floor_g} g; the programme’s setting"
        if basis
        else f"the programme’s floor of {numbers.protein.floor_g} g: no weight to take a range of"
    )
    lines = (
        ("Weight", numbers.actual, ""),
        ("BMI", numbers.bmi, ""),
        ("Ideal weight", numbers.ideal, ""),
        ("Weight at BMI 25", numbers.bmi_25, ""),
        ("Adjusted weight", numbers.adjusted, ""),
        ("Resting energy", numbers.energy, ""),
        ("Protein target, from", numbers.protein_low, per_kg),
        ("Protein target, to", numbers.protein_high, per_kg),
        ("Fluid target", numbers.fluid, ""),
        ("Protein in one serving", numbers.per_serving, ""),
    )
    return [_line(found, name, shown, basis) for name, shown, basis in lines]


def _line(found: PlanOf, name: str, shown: Shown, computed_from: str) -> NumberLine:
    own = found.own.get(shown.what) if shown.what else None
    basis = computed_from if computed_from and not own else eating_words.basis(shown.figure)
    instead = eating_words.number(shown.instead_of) if shown.instead_of is not None else ""
    return NumberLine(name, eating_words.number(shown.figure), basis, instead, own, shown.what)


def _sips(found: PlanOf, *, at: datetime) -> str:
    target = found.numbers.fluid.value or Decimal(0)
    table, told = found.table, sipping_of(found, at=at)
    hours = Decimal(told.takes.total_seconds()) / 3600
    pace = f"{_plain(table.sip_oz)} US fl oz every {table.sip_minutes} minutes"
    said = f"At {pace} the target takes {told.sips} sips, {_plain(round(hours, 2))} hours awake."
    if told.today:
        return f"{said} Begun now, it is reached at {told.by:%H:%M} today."
    drunk = whole(told.oz_by_bedtime)
    return (
        f"{said} Begun now, it is not reached by {table.bedtime:%H:%M} today: {drunk} of "
        f"{whole(us_fl_oz(target))} US fl oz are."
    )


def _discussed(found: PlanOf) -> str:
    signed = found.signature
    if signed is None:
        return ""
    when = day(signed.recorded_at.astimezone(found.programme.zone).date())
    return f"Signed by {signed.by.name}, {when}: {signed.note}"


def _stage_names(one: PlanDay) -> str:
    return ", ".join(stage.name["en"] for stage in one.stages) or "in no stage"


def _day_line(one: PlanDay, found: PlanOf, ticked: Ticks) -> DayLine:
    items = items_of(one)
    done = sum(item in ticked.get(one.day, ()) for item in items)
    words = f"{done} of {len(items)} ticked" if done else ""
    return DayLine(one, _stage_names(one), one.day == found.today, words)


def _stay(found: PlanOf) -> str:
    """Say by which days the plan counts, and whether they are booked."""
    or_date, stay, choices = found.operation.or_date, found.stay, found.choices
    if or_date is None:
        return ""
    home, visit = (or_date + timedelta(n) for n in (stay.nights, stay.first_visit_days))
    booked = "booked" if choices and choices.first_visit_on == visit else "not booked yet"
    return f"Going home {day(home)}; first visit {day(visit)}, {booked}."


def _changes(found: PlanOf) -> list[ChangeLine]:
    lines = [
        ChangeLine(
            row.recorded_at,
            eating_words.choice(row),
            row.reason,
            row.by.name if row.by else "the patient, by the personal link",
        )
        for row in found.operation.eating_choices.select_related("by")
    ]
    for own in own_number_history(found.patient):
        value = "computed again" if own.value is None else _plain(own.value)
        what = f"{eating_words.OWN_NUMBER[OwnNumber(own.what)]}: {value}"
        lines.append(ChangeLine(own.recorded_at, what, own.reason, own.by.name))
    return sorted(lines, key=lambda line: line.at, reverse=True)


def _totals(found: PlanOf) -> str:
    total = found.plan.totals
    return (
        f"{len(found.plan.days)} days: {total.supplements} supplements, {whole(total.protein_g)} g "
        f"of protein from them, {total.meals} solid meals."
    )


def _plain(value: Decimal | int) -> str:
    return f"{Decimal(value).normalize():f}"
