"""What the page behind a link says beside the plan itself, in the language that is active.

The plan's own words, which paper has too, are in education/eating_texts.py; the same rules hold.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from education.models import PlanLink
from education.plan_of import PlanOf, sipping_of
from education.rules.eating_plan import NoDates, Note, PlanDay, Told
from education.rules.fluids import us_fl_oz, whole
from education.rules.plan_items import FLUID, MEAL, items_of
from education.written_days import clock, long_day, plain_day, short_day

ABOUT_MEALS = frozenset(
    {
        Note.MEALS_NOT_CHOSEN,
        Note.TOO_MANY_MEALS,
        Note.MEALS_TOO_CLOSE,
        Note.MEAL_TOO_LATE,
        Note.MEAL_OUTSIDE,
        Note.MEAL_BEFORE_START,
    }
)


@dataclass(frozen=True)
class Item:
    """Something to do on a day. `done`: the patient ticked it."""

    code: str
    name: str
    done: bool


def moved(found: PlanOf, link: PlanLink) -> str:
    """Say that the date is another one than the patient knew of, from which to which; else ""."""
    told = getattr(link, "date_told", None)
    before = told.before if told else link.or_date
    now = found.operation.or_date
    if now is None or before == now:
        return ""
    if before is None:
        return _("You have a new date: %(new)s.") % {"new": long_day(now)}
    return _("Your date changed. It was %(old)s. Now it is %(new)s.") % {
        "old": plain_day(before),
        "new": plain_day(now),
    }


def no_dates(found: PlanOf) -> str:
    """Say why there are no days. What holds a plan is for the telephone, not for this page."""
    return {
        NoDates.NO_OR_DATE: _("Your operation has no date just now."),
        NoDates.CANCELLED: _("Your operation has no date just now."),
        NoDates.DATE_PASSED: _("The date that we have for your operation is past."),
        NoDates.OVER: _("The last day of your plan is past. Do not go on with it."),
        None: _("We want to talk with you before you start."),
    }[found.plan.refused]


def sips(found: PlanOf, *, at: datetime) -> list[str]:
    """Say how fast to sip today, and by when that reaches the goal; [] on days without a goal."""
    today = found.plan.on(found.today)
    if today is None or not today.amounts.fluid_ml:
        return []
    told, oz = sipping_of(found, at=at), found.table.sip_oz
    ounces = ngettext("%(oz)s US fluid ounce", "%(oz)s US fluid ounces", 1 if oz == 1 else 2)
    pace = _("Sip %(ounces)s every %(minutes)s minutes.") % {
        "ounces": ounces % {"oz": f"{oz.normalize():f}"},
        "minutes": found.table.sip_minutes,
    }
    if told.today:
        return [
            pace,
            _("Start now, and you reach your goal at %(time)s.") % {"time": clock(told.by.time())},
        ]
    reach = _("Start now, and you drink %(oz)s of %(goal)s US fluid ounces by %(time)s.") % {
        "oz": whole(told.oz_by_bedtime),
        "goal": whole(us_fl_oz(today.amounts.fluid_ml)),
        "time": clock(found.table.bedtime),
    }
    return [pace, reach, _("Do not gulp to catch up.")]


def items(day: PlanDay, ticked: frozenset[str]) -> list[Item]:
    """Return what there is to tick on a day."""
    named = []
    for code in items_of(day):
        if code == MEAL:
            name = _("My solid meal")
        elif code == FLUID:
            name = _("I reached my fluid goal")
        else:
            name = _("Shake %(number)s") % {"number": code.rpartition("-")[2]}
        named.append(Item(code, name, code in ticked))
    return named


def meal_problems(notes: Iterable[Told], or_date: date) -> list[str]:
    """Say what is wrong with the chosen days of solid meals."""
    return [_meal_problem(told, or_date) for told in notes if told.note in ABOUT_MEALS]


def _meal_problem(told: Told, or_date: date) -> str:
    days = [short_day(day) for day in told.days]
    if told.note == Note.MEALS_TOO_CLOSE:
        between = told.count - 1
        return (
            _("%(first)s and %(second)s are too close.")
            % {
                "first": days[0],
                "second": days[1],
            }
            + " "
            + ngettext(
                "Leave at least %(count)s day between two solid meals.",
                "Leave at least %(count)s days between two solid meals.",
                between,
            )
            % {"count": between}
        )
    if told.note == Note.MEAL_TOO_LATE:
        last = short_day(or_date + timedelta(told.count))
        return _("%(day)s is too late. The last day for a solid meal is %(last)s.") % {
            "day": days[0],
            "last": last,
        }
    if told.note == Note.MEAL_OUTSIDE:
        return _("Your plan has no solid meal on %(day)s.") % {"day": days[0]}
    if told.note == Note.MEAL_BEFORE_START:
        return _("%(day)s is before your plan starts.") % {"day": days[0]}
    if told.note == Note.TOO_MANY_MEALS:
        return ngettext(
            "You chose %(count)s day too many.", "You chose %(count)s days too many.", told.count
        ) % {"count": told.count}
    return ngettext(
        "You can choose %(count)s more day.", "You can choose %(count)s more days.", told.count
    ) % {"count": told.count}
