"""What the patient ticks behind the link: optional, kept on the server, taken back at any time.

A tick belongs to a calendar day, not to a distance from the OR date: what was drunk on a day stays
true when the date moves.
"""

from datetime import date, datetime

from education.models import PlanTick
from education.plan_of import PlanOf
from education.rules.plan_items import items_of
from patients.models import Operation

Ticks = dict[date, frozenset[str]]


class NotToTick(Exception):
    """The day does not ask for this, or is still to come."""


def ticks_of(operation: Operation) -> Ticks:
    """Return what was ticked, by day."""
    found: dict[date, set[str]] = {}
    for day, item in PlanTick.objects.filter(operation=operation).values_list("day", "item"):
        found.setdefault(day, set()).add(item)
    return {day: frozenset(items) for day, items in found.items()}


def tick(found: PlanOf, day: date, item: str, *, done: bool, at: datetime) -> None:
    """Keep that something was done on a day, or take it back; sent twice, it is the same.

    Raises NotToTick.
    """
    planned = found.plan.on(day)
    if planned is None or day > found.today or item not in items_of(planned):
        raise NotToTick
    if done:
        PlanTick.objects.get_or_create(
            operation=found.operation, day=day, item=item, defaults={"recorded_at": at}
        )
    else:
        PlanTick.objects.filter(operation=found.operation, day=day, item=item).delete()
