"""The patient chooses the days of the solid meals; told in words what is too close or too late."""

from datetime import date, timedelta
from typing import Any

from django.http import Http404, HttpResponse, QueryDict
from django.utils.translation import gettext as _

from education import eating_page_texts, eating_texts
from education.eating_record import choose
from education.plan_of import PlanOf
from education.rules.eating_plan import Choices, Note, Told, meal_days, meal_notes
from education.stage_tables import stages_of
from education.views.half_made import forget_half, half_made, keep_half
from education.views.opening import NOT_REACHED, see
from education.views.plan_visit import PlanVisit, page, through_plan_link
from education.written_days import long_day
from patients.rules.languages import codes, own_name_of

# Kept all the same once the patient has read that it is so.
MAY_STAND = frozenset({Note.MEALS_NOT_CHOSEN, Note.MEALS_TOO_CLOSE})
DAY = timedelta(days=1)
PAGE = "plan/meals/"


@through_plan_link
def plan_meals(visit: PlanVisit) -> HttpResponse:
    """Show the days to choose from; keep what was chosen."""
    found = visit.found
    if not found.may_be_given or not offered(found):
        raise Http404
    if visit.request.method != "POST":
        half = half_made(visit.request, visit.token, PAGE)
        same = half is not None and half.get("or_date") == str(found.operation.or_date)
        return _asked(visit, _picked(half, found) if half and same else set(_chosen(found)))
    sent = visit.request.POST
    if sent.get("language") in codes():
        response = see(visit.address("plan-meals", l=sent["language"]))
        keep_half(response, visit.request, visit.token, PAGE)
        return response
    offsets = _picked(sent, found)
    if sent.get("or_date") != str(found.operation.or_date):
        moved = _("Your date changed meanwhile. Please choose again.")
        return _asked(visit, set(_chosen(found)), [moved], status=422)
    notes = _notes(found, offsets)
    problems = [told for told in notes if told.note != Note.MEALS_NOT_CHOSEN]
    stands = all(told.note in MAY_STAND for told in problems)
    if problems and not (stands and "anyway" in sent):
        words = eating_page_texts.meal_problems(problems, _or_date(found))
        return _asked(visit, offsets, words, may_stand=stands, status=422)
    try:
        _keep(visit, sorted(offsets))
    except NOT_REACHED:
        return _asked(visit, offsets, status=503)
    response = see(visit.address("plan", fragment="meals"))
    return forget_half(response, visit.request, visit.token)


def _picked(sent: QueryDict, found: PlanOf) -> set[int]:
    picked = (_offset(text, found) for text in sent.getlist("day")[:60])
    return {one for one in picked if one is not None}


def _asked(
    visit: PlanVisit,
    picked: set[int],
    problems: list[str] | None = None,
    *,
    may_stand: bool = False,
    status: int = 200,
) -> HttpResponse:
    found = visit.found
    or_date = _or_date(found)
    meals = next(one.meals for one in stages_of(found.table) if one.meals)
    context: dict[str, Any] = {
        "back_url": visit.address("plan"),
        "address": visit.address("plan-meals"),
        "or_date": or_date.isoformat(),
        "count": meals.count,
        "between": meals.apart - 1,
        "last": long_day(or_date + meals.last_days * DAY),
        "about": eating_texts.meals(found)[-1:],
        "days": [
            (day.isoformat(), long_day(day), offset in picked)
            for offset in offered(found)
            for day in [or_date + offset * DAY]
        ],
        "problems": problems or [],
        "may_stand": may_stand,
        "keeps_typed": True,
        "languages": [(code, own_name_of(code)) for code in codes()],
        "language_url": visit.address("plan-meals"),
        "cautions": eating_texts.cautions(found),
    }
    return page(visit, "plan_meals", context, status=status)


def _keep(visit: PlanVisit, meals: list[int]) -> None:
    """Keep the days; all else that was chosen, and why, stays as it is."""
    found, before = visit.found, visit.found.choices
    if before is not None and sorted(before.meals) == meals:
        return
    choose(
        found.operation,
        meals=meals,
        nights=before.nights if before else found.stay.nights,
        first_visit_days=before.first_visit_days if before else found.stay.first_visit_days,
        home_on=before.home_on if before else None,
        first_visit_on=before.first_visit_on if before else None,
        reason=before.reason if before else "",
        at=visit.at,
        by_id=None,
    )


def offered(found: PlanOf) -> list[int]:
    """Return the days to choose from: those to come, and those of the past that were chosen."""
    begins, or_date = found.plan.days[0].offset, _or_date(found)
    chosen = _chosen(found)
    return [
        offset
        for offset in meal_days(stages_of(found.table), found.stay, begins=begins)
        if or_date + offset * DAY >= found.today or offset in chosen
    ]


def _notes(found: PlanOf, offsets: set[int]) -> list[Told]:
    choices = Choices(found.stay, tuple(sorted(offsets)))
    begins = found.plan.days[0].offset
    return list(meal_notes(_or_date(found), stages_of(found.table), choices, begins=begins))


def _chosen(found: PlanOf) -> list[int]:
    return list(found.choices.meals) if found.choices else []


def _offset(text: str, found: PlanOf) -> int | None:
    try:
        return (date.fromisoformat(text) - _or_date(found)).days
    except ValueError:
        return None


def _or_date(found: PlanOf) -> date:
    if found.operation.or_date is None:
        raise Http404
    return found.operation.or_date
