"""The patient's eating plan behind a personal link: today first, every day with its date.

It carries no name, MRN or date of birth.
"""

from datetime import date
from typing import Any

from django.conf import settings
from django.http import HttpResponse, HttpResponseNotAllowed
from django.urls import reverse

from education import eating_page_texts, eating_texts
from education.plan_feed import own_feeds
from education.plan_ticks import NotToTick, tick, ticks_of
from education.views.opening import NOT_REACHED, see
from education.views.plan_meals import offered
from education.views.plan_visit import PlanVisit, page, through_plan_link


@through_plan_link
def plan(visit: PlanVisit) -> HttpResponse:
    """Show the plan, or that it has no dates just now, why, and whom to call."""
    if visit.request.method == "POST":
        return HttpResponseNotAllowed(["GET", "HEAD"])
    return shown(visit)


@through_plan_link
def plan_done(visit: PlanVisit) -> HttpResponse:
    """Keep that something was done on a day, or take it back."""
    if visit.request.method != "POST":
        return see(visit.address("plan"))
    sent = visit.request.POST
    item, done = (sent["done"], True) if "done" in sent else (sent.get("undo", ""), False)
    day = _day(sent.get("day", ""))
    if not visit.found.may_be_given or day is None:
        return see(visit.address("plan"))
    try:
        tick(visit.found, day, item, done=done, at=visit.at)
    except NotToTick:
        pass  # the date moved meanwhile, say: the page shows what there is to tick now
    except NOT_REACHED:
        return shown(visit, status=503)
    on_day = {} if day == visit.found.today else {"day": day.isoformat()}
    return see(visit.address("plan", fragment="done", **on_day))


def shown(visit: PlanVisit, *, status: int = 200) -> HttpResponse:
    """Return the page as it is now; status 503 says that what was sent was not saved."""
    found = visit.found
    context: dict[str, Any] = {"moved": eating_page_texts.moved(found, visit.link)}
    if not found.may_be_given:
        context["why"] = eating_page_texts.no_dates(found)
        return page(visit, "plan", context, status=status)
    days = eating_texts.days(found)
    context |= {
        "made_for": eating_texts.made_for(found),
        "void": eating_texts.void(),
        "draft": eating_texts.draft(found),
        "starts": eating_texts.starts(found),
        "today": next((one for one in days if one.day.day == found.today), None),
        "sips": eating_page_texts.sips(found, at=visit.at),
        "stages": eating_texts.stages(found),
        "amounts": eating_texts.amounts(found),
        "meals": eating_texts.meals(found),
        "meal_problems": _meal_problems(visit),
        "meals_address": visit.address("plan-meals") if offered(found) else "",
        "totals": eating_texts.totals(found),
        "cautions": eating_texts.cautions(found),
        **_ticks(visit, days),
        **_calendars(visit),
    }
    return page(visit, "plan", context, status=status)


def _meal_problems(visit: PlanVisit) -> list[str]:
    or_date = visit.found.operation.or_date
    if or_date is None:
        return []
    return eating_page_texts.meal_problems(visit.found.plan.notes, or_date)


def _ticks(visit: PlanVisit, days: list[eating_texts.DayText]) -> dict[str, Any]:
    """The day to tick, today unless another one of the past is asked for, and all days' ticks."""
    found = visit.found
    ticked = ticks_of(found.operation)
    asked = _day(visit.request.GET.get("day") or visit.request.POST.get("day") or "")
    by_day = {one.day.day: one for one in days if one.day.day <= found.today}
    shown = by_day.get(asked or found.today)
    lines = []
    for one in days:
        items = eating_page_texts.items(one.day, ticked.get(one.day.day, frozenset()))
        may_tick = one.day.day in by_day and items
        address = visit.address("plan", fragment="done", day=one.day.day.isoformat())
        lines.append(
            (one, sum(item.done for item in items), len(items), address if may_tick else "")
        )
    items = (
        eating_page_texts.items(shown.day, ticked.get(shown.day.day, frozenset())) if shown else []
    )
    return {
        "days": lines,
        "ticking": shown,
        "items": items,
        "done_address": visit.address("plan-done"),
    }


def _calendars(visit: PlanVisit) -> dict[str, Any]:
    feeds = []
    for own in own_feeds(visit.link, visit.token):
        address = settings.PUBLIC_URL + reverse(
            "plan-feed", args=[own.token], query={"l": visit.language}
        )
        webcal = "webcal" + address.removeprefix("https").removeprefix("http")
        feeds.append((own.feed, address, webcal))
    kinds = {feed.with_operation for feed, _, _ in feeds}
    return {
        "feeds": feeds,
        "may_make": [kind for kind in (False, True) if kind not in kinds],
        "file_address": visit.address("plan-calendar"),
        "file_with_operation": visit.address("plan-calendar", operation="yes"),
        "make_address": visit.address("plan-feed-make"),
        "end_address": visit.address("plan-feed-end"),
    }


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
