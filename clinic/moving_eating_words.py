"""The words for what another date or booking would do to the eating plan."""

from collections.abc import Iterator, Mapping

from clinic import eating_words
from clinic.day_words import day, days
from clinic.eating_plan_page import PLAIN_NOTES
from clinic.moving import Eating, Telling
from education.models import EatingPlanGiven, GivenBy
from education.plan_of import PlanOf
from education.rules.eating_plan import EatingPlan, NoDates, Note, Told
from patients.clock import local_date
from patients.models import Booking

NO_DATES: Mapping[NoDates, str] = {
    NoDates.NO_OR_DATE: "Without an OR date the plan would have no dates.",
    NoDates.CANCELLED: "With the operation cancelled the plan would have no dates.",
    NoDates.DATE_PASSED: (
        "The OR date would be past, and nobody said that the operation was done: the plan would "
        "have no dates."
    ),
    NoDates.OVER: "The last day of the plan would be past.",
}

SAID_ELSEWHERE = (*PLAIN_NOTES, Note.SHORT, Note.LONGER)


TELLING: Mapping[Telling, str] = {
    Telling.EMAIL: "An email would tell the patient that the dates of the plan are others.",
    Telling.NO_EMAIL: (
        "Somebody has to tell the patient, who has no email address on file; it would stand on "
        "“Eating plans”."
    ),
    Telling.CANCELLED: (
        "Somebody has to tell the patient not to follow it any more; it would stand on “Eating "
        "plans”."
    ),
}


def sentences(eating: Eating) -> list[str]:
    """Return what would become of the eating plan and of the patient's copies of it."""
    now, then = eating.now, eating.then
    if then.operation.booking == Booking.DONE and then.plan.refused is None:
        return ["The plan goes on with the days after the operation."]
    said = [*_first_day(now, then), *_under_way(now, then)]
    said += [TELLING[eating.telling]] if eating.telling else []
    return [*said, *_copies(now, then), *_held(then)]


def _first_day(now: PlanOf, then: PlanOf) -> Iterator[str]:
    before, after = now.plan, then.plan
    if after.refused:
        since = f" Now its first day is {_weekday(now)}." if before.days else ""
        yield NO_DATES[after.refused] + since
        return
    first = after.days[0].day
    today = ", today" if first == then.today else ""
    if not before.days:
        yield f"The plan’s first day would be {_weekday(then)}{today}."
    elif before.days[0].day == first:
        yield f"The plan’s first day stays {_weekday(then)}{today}."
    else:
        yield f"The plan’s first day would be {_weekday(then)}{today}, instead of {_weekday(now)}."
    if after.short:
        yield (
            f"{days(after.short).capitalize()} too few: the stages ask for {days(after.needed)} "
            f"before the OR date, and {after.needed - after.short} would be left. "
            "The surgical team decides."
        )
    known = {_from_or_date(told, before) for told in before.notes}
    for told in after.notes:
        if told.note in SAID_ELSEWHERE or _from_or_date(told, after) in known:
            continue
        yield f"It would have a problem: {eating_words.told(told, today=then.today)}"


def _from_or_date(told: Told, plan: EatingPlan) -> tuple[Note, int, tuple[int, ...]]:
    """Return a note so that it is the same one on another OR date."""
    or_date = plan.or_date
    return told.note, told.count, tuple((one - or_date).days for one in told.days if or_date)


def _under_way(now: PlanOf, then: PlanOf) -> Iterator[str]:
    """Say what it means for who eats by the plan already: a later date can double the diet."""
    here = now.plan.on(now.today)
    if not now.given or here is None or here.offset >= 0:
        return
    behind = now.plan.days.index(here)
    said = f"The patient may be following it already: today is its day {behind + 1}."
    if then.plan.restricted:
        said += (
            f" With the {days(behind)} behind the patient it would be "
            f"{days(then.plan.restricted)} of it before the operation."
        )
    if then.plan.on(then.today) is None:
        said += " Somebody has to tell the patient what to eat from now on."
    yield said


def _copies(now: PlanOf, then: PlanOf) -> Iterator[str]:
    paper = [one for one in then.given if one.means != GivenBy.EMAIL]
    void = [one for one in paper if _is_good(now, one) and not _is_good(then, one)]
    again = [one for one in paper if _is_good(then, one) and not _is_good(now, one)]
    if void:
        yield f"Would be void: {_listed(void, then)}."
    if again:
        yield f"Would be good again: {_listed(again, then)}."
    if len(paper) < len(then.given):
        changed = now.operation.or_date != then.operation.or_date
        if then.operation.booking == Booking.CANCELLED:
            yield "The emailed link to the plan would stop working."
        elif now.operation.booking == Booking.CANCELLED:
            yield "The emailed link to the plan would work again."
        elif then.plan.refused and changed:
            yield "The page behind the emailed link would show no dates any more, at once."
        elif changed:
            yield "The page behind the emailed link would show the new dates at once."


def _held(then: PlanOf) -> Iterator[str]:
    if then.plan.refused:
        return
    if not then.given:
        yield "The patient has no copy of the plan yet."
    if then.holds:
        why = " ".join(eating_words.HOLD[hold] for hold in then.holds)
        yield f"As it stands no plan may be given: {why}"
    elif not hasattr(then.table, "sign"):
        yield "No clinician has signed the programme’s stages: each copy says “draft”."


def _is_good(found: PlanOf, copy: EatingPlanGiven) -> bool:
    """Whether a copy's dates are those of the operation."""
    cancelled = found.operation.booking == Booking.CANCELLED
    return copy.or_date == found.operation.or_date and not cancelled


def _listed(copies: list[EatingPlanGiven], found: PlanOf) -> str:
    zone = found.programme.zone
    return ", ".join(
        f"the copy {eating_words.GIVEN[GivenBy(one.means)]} of "
        f"{day(local_date(one.recorded_at, zone))}"
        for one in copies
    )


def _weekday(found: PlanOf) -> str:
    first = found.plan.days[0].day
    return f"{first:%A} {day(first)}"
