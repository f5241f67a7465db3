"""What happens to the patients of the demo with whom everything goes its usual way."""

from clinic.demo.events import AFTER, BEFORE, Began, Confirmed, Event, Invited, Took
from clinic.demo.people import Person
from clinic.demo.schedule_export import first_export

OPENS = 90  # days before the OR date, of both modules


def routine(person: Person) -> tuple[Event, ...]:
    """Return what happened so far: the nearer the operation, the more.

    The link goes out as soon as the operation is on the schedule and the module is open.
    """
    if person.or_day is None:
        return ()
    invited = min(first_export(person) - 1, OPENS - person.or_day)
    if person.or_day > 75:
        return ()
    if person.or_day > 50:
        return _begun(person, invited)
    took = max(invited - 4 - person.number % 3, 1)
    learned: tuple[Event, ...] = (Invited(invited), Took(took))
    if person.or_day > 25:
        return (*learned, *_other_module_under_way(person, took))
    learned = (*learned, Invited(invited, AFTER), Took(max(took - 2, 1), AFTER))
    confirmed = 7 - person.or_day  # a week before the operation
    return (*learned, Confirmed(confirmed)) if confirmed > 0 else learned


def _begun(person: Person, invited: int) -> tuple[Event, ...]:
    opened = (Began(max(invited - 2, 1), answers=4),) if person.number % 3 == 0 else ()
    return Invited(invited, BEFORE), *opened


def _other_module_under_way(person: Person, took: int) -> tuple[Event, ...]:
    invited = max(took - 6, 1)
    if person.number % 3 == 0:
        return ()
    if person.number % 3 == 1 or invited < 3:
        return (Invited(invited, AFTER),)
    return Invited(invited, AFTER), Took(invited - 2, AFTER, wrong=("four-hours",))
