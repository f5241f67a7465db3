"""The eating plan in the patient's words; in the language that is active.

Grade 6 or lower, 20 words a sentence at most (promise W9). No dose and no day to stop a medicine is
ever said here. Every copy says which OR date it was made from, and that the team's own word wins.
"""

from dataclasses import dataclass
from datetime import date, datetime

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from education.plan_of import PlanOf
from education.rules.eating_plan import Note, PlanDay
from education.rules.eating_stages import Stage, in_words
from education.rules.fluids import us_fl_oz, whole
from education.written_days import language, long_day, plain_day, short_day

MAX_NAME = 60  # characters that fit into the header


@dataclass(frozen=True)
class StageText:
    """One stage of a plan with its dates. `days`: how many of them the plan has."""

    stage: Stage
    name: str
    when: str
    days: int
    allowed: tuple[str, ...]
    avoided: tuple[str, ...]
    to_do: tuple[str, ...]


@dataclass(frozen=True)
class DayText:
    """One line of the list of days."""

    day: PlanDay
    when: str
    stage: str
    what: str


def title() -> str:
    return _("Your eating plan")


def made_for(found: PlanOf) -> str:
    """Say from which OR date a copy was made."""
    return _("This plan was made for an operation on %(date)s.") % {
        "date": long_day(_or_date(found))
    }


def void() -> str:
    return _("Does the date change? Then this plan is void. Ask us for a new one.")


def header(found: PlanOf) -> dict[str, str]:
    """Say on each page whose plan it is, and from which OR date."""
    patient = found.patient
    return {
        "name": patient.full_name[:MAX_NAME],
        "identifiers": _("MRN %(mrn)s, born %(date)s")
        % {"mrn": patient.mrn, "date": plain_day(patient.birth_date)},
        "or_date": _("For an operation on %(date)s") % {"date": long_day(_or_date(found))},
        "void": _("Void if this date changes"),
    }


def footer(found: PlanOf, *, at: datetime) -> str:
    """Say when a copy was made, and by which stages."""
    return _("%(programme)s, %(phone)s. Made on %(date)s, by stage table %(table)s.") % {
        "programme": found.programme.name,
        "phone": found.programme.phone,
        "date": plain_day(at.astimezone(found.programme.zone).date()),
        "table": found.table.number,
    }


def stage_head() -> list[str]:
    return [_("When"), _("You may have"), _("Leave out"), _("What to do")]


def days_title() -> str:
    return _("Day by day")


def day_head() -> list[str]:
    return [_("Day"), _("Step"), _("Shakes and meals"), _("Done")]


def draft(found: PlanOf) -> str:
    """Say that no clinician signed the stages; "" where one did."""
    if hasattr(found.table, "sign"):
        return ""
    return _("Draft: this is common practice. Our team has not signed it yet.")


def starts(found: PlanOf) -> list[str]:
    """Say when the plan starts, and whether days are missing."""
    said = []
    for told in found.plan.notes:
        if told.note == Note.STARTS_LATER:
            said.append(_("Start on %(date)s.") % {"date": long_day(told.days[0])})
        elif told.note == Note.STARTS_TODAY:
            said.append(_("Start today, %(date)s.") % {"date": long_day(told.days[0])})
        elif told.note == Note.RUNNING:
            said.append(_("You started on %(date)s.") % {"date": long_day(told.days[0])})
    return [*said, *alarms(found)]


def alarms(found: PlanOf) -> list[str]:
    """Say that days are missing, or that a moved date makes the diet longer; each copy has it."""
    said = []
    for told in found.plan.notes:
        if told.note == Note.SHORT:
            said.append(
                ngettext(
                    "That is %(count)s day less than we plan for. Call us today.",
                    "That is %(count)s days less than we plan for. Call us today.",
                    told.count,
                )
                % {"count": told.count}
            )
        elif told.note == Note.LONGER:
            said.append(
                _("With the days before your date moved, that is %(count)s days in all.")
                % {"count": told.count}
                + " "
                + _("Call us before you go on.")
            )
    return said


def amounts(found: PlanOf) -> list[str]:
    """Say the goals of a day, in both units where there are two."""
    numbers = found.numbers
    low, high = numbers.protein_low.value, numbers.protein_high.value
    said = []
    if low is not None and high is not None and low < high:
        said.append(
            _("Protein: your goal is %(low)s to %(high)s grams a day.")
            % {"low": whole(low), "high": whole(high)}
        )
    elif low is not None:
        said.append(_("Protein: your goal is %(low)s grams a day.") % {"low": whole(low)})
    if numbers.per_serving.value is not None:
        said.append(
            _("One shake here means one with %(grams)s grams of protein.")
            % {"grams": f"{numbers.per_serving.value.normalize():f}"}
        )
    if numbers.fluid.value is not None:
        said.append(
            _("Fluids: your goal is %(ml)s mL a day. That is %(oz)s US fluid ounces.")
            % {"ml": whole(numbers.fluid.value), "oz": whole(us_fl_oz(numbers.fluid.value))}
        )
    said.append(_("Grams here are grams of protein, not of food."))
    return said


def totals(found: PlanOf) -> str:
    """Say what the whole plan comes to."""
    total = found.plan.totals
    return _("All days together: %(shakes)s shakes, %(grams)s grams of protein from them.") % {
        "shakes": total.supplements,
        "grams": whole(total.protein_g),
    }


def stages(found: PlanOf) -> list[StageText]:
    """Return the stages that the plan has days of, in the order of their days."""
    code = language()
    listed: dict[str, list[PlanDay]] = {}
    by_key: dict[str, Stage] = {}
    for day in found.plan.days:
        for stage in day.stages:
            listed.setdefault(stage.key, []).append(day)
            by_key[stage.key] = stage
    return [
        StageText(
            stage=by_key[key],
            name=in_words(by_key[key].name, code),
            when=_span(days[0].day, days[-1].day),
            days=len(days),
            allowed=in_words(by_key[key].allowed, code),
            avoided=_avoided(by_key[key], found),
            to_do=in_words(by_key[key].to_do, code),
        )
        for key, days in listed.items()
    ]


def _avoided(stage: Stage, found: PlanOf) -> tuple[str, ...]:
    """The surgical team's order stands alone where there is one: never two times to stop at."""
    order = fasting_order(found)
    if stage.nothing_by_mouth and order:
        return (order,)
    return in_words(stage.avoided, language())


def fasting_order(found: PlanOf) -> str:
    """Return the order as it was given, with who gave it; "" where none is on record."""
    facts = found.facts
    if facts is None or not facts.fasting_order:
        return ""
    return _("Your surgical team says: “%(order)s” (%(who)s)") % {
        "order": facts.fasting_order,
        "who": facts.fasting_order_by,
    }


def days(found: PlanOf) -> list[DayText]:
    """Return the list of days."""
    return [day_text(day) for day in found.plan.days]


def day_text(day: PlanDay) -> DayText:
    """Return one day in words."""
    code = language()
    what = []
    if day.amounts.supplements:
        count = day.amounts.supplements
        what.append(ngettext("%(count)s shake", "%(count)s shakes", count) % {"count": count})
    if day.meal:
        what.append(_("one solid meal"))
    names = ", ".join(in_words(stage.name, code) for stage in day.stages)
    return DayText(day, short_day(day.day), names, ", ".join(what))


def meals(found: PlanOf) -> list[str]:
    """Say on which days a solid meal is, and what it is; nothing where no stage has one."""
    code = language()
    in_stages = (stage for day in found.plan.days for stage in day.stages)
    meant = [in_words(stage.meal, code) for stage in in_stages if stage.meal]
    chosen = [short_day(day.day) for day in found.plan.days if day.meal]
    if not meant:
        return []
    if not chosen:
        return [_("Solid meals: you have not chosen your days yet. Call us to choose them.")]
    return [_("Solid meals on: %(days)s.") % {"days": "; ".join(chosen)}, meant[0]]


def cautions(found: PlanOf) -> list[tuple[str, list[str]]]:
    """What stands on every copy: headings with their lines, the most urgent first."""
    numbers = {"phone": found.programme.phone, "emergency": found.programme.emergency_number}
    fever = (
        _("You have a fever: %(fever)s or more.") % {"fever": found.table.fever}
        if found.table.fever
        else _("You have a fever.")
    )
    return [
        (
            _("Your surgical team comes first"),
            [
                _("Does your team tell you something else? Then do what your team says."),
                _("This holds above all for when to stop eating and drinking."),
            ],
        ),
        (
            _("Call us before you start"),
            [
                _("Call if you take insulin or other diabetes medicine."),
                _("Call if you take a blood thinner, or blood-pressure or water tablets."),
                _("Call if you take lithium, or medicine for seizures."),
                _("Call if you are pregnant, may be, or breast-feed."),
                _("Call if your kidneys, liver or heart are weak."),
                _("Call if you have gout or an eating disorder, or if you are ill."),
                _("Tell us all the medicines you take."),
                _("Do not stop or change a medicine on your own."),
            ],
        ),
        (
            _("Get help"),
            [
                _("Chest pain, trouble breathing, or fainting? Call %(emergency)s.") % numbers,
                _("You throw up and breathe fast or feel sleepy? Call %(emergency)s.") % numbers,
                _("You shake, sweat or feel confused? Your sugar may be low."),
                _("For low sugar, do what your team told you. Then call us."),
                _("Call us if you cannot keep fluids down, or have bad belly pain."),
                _("Call us if there is blood when you throw up or in your stool."),
                _("Call us if a leg swells and hurts, or if your wound opens."),
                fever + " " + _("Then call us too."),
                _("Our number: %(phone)s.") % numbers,
            ],
        ),
        (
            _("How to use this plan"),
            [
                _("Follow it on these days only. Do not go on longer."),
                _("The amounts are goals, not tests. Tell us if you cannot reach them."),
                _("Food that you must not have for an allergy stays out."),
                _("Ask us to explain this in your language. It is free."),
                _("This plan teaches. It does not take the place of your care team."),
            ],
        ),
    ]


def _span(first: date, last: date) -> str:
    if first == last:
        return short_day(first)
    return _("%(first)s to %(last)s") % {"first": short_day(first), "last": short_day(last)}


def _or_date(found: PlanOf) -> date:
    if found.operation.or_date is None:
        raise ValueError("no copy without an OR date")
    return found.operation.or_date
