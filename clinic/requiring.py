"""What a changed requirement would do to the open operations of its procedure; nothing is written.

The number of queries does not depend on how many operations there are.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from clinic.confirm import OperationAnswer, answers
from clinic.unsettled import CannotTell
from education.foresee import Foreseen, foresee_requirement
from education.models import Requirement
from education.rules.confirm import Requirement as Needed
from education.rules.confirm import Word, may_confirm
from education.rules.requiring import Effect, effects
from patients import programme
from patients.clock import local_date
from patients.models import Booking, Operation


@dataclass(frozen=True)
class Would:
    """What saving a requirement would do.

    `operations`: all open ones of the procedure. `other_window`: those whose window is another one.
    `no_longer_clear`: confirmed operations whose answer would turn from confirm to hold.
    """

    operations: int
    other_window: int
    effects: dict[Effect, list[Operation]]
    no_longer_clear: list[Operation]


def would(wanted: Requirement, *, at: datetime) -> Would:
    """Say what a requirement that is not saved yet would do.

    Raises CannotTell when a fact could not be read.
    """
    settings = programme.current()
    on = local_date(at, settings.zone)
    operations = list(
        Operation.objects.still_open()
        .filter(procedure=wanted.procedure)
        .select_related("patient")
        .order_by("or_date", "id")
    )
    found = foresee_requirement(wanted, operations, on=on, settings=settings)
    touched: dict[Effect, list[Operation]] = defaultdict(list)
    for line in found:
        for effect in effects(line.now, line.then.answer if line.then else None):
            touched[effect].append(line.assignment.operation)
    return Would(
        operations=len(operations),
        other_window=sum(_other_window(line) for line in found),
        effects={effect: touched[effect] for effect in Effect if touched[effect]},
        no_longer_clear=_no_longer_clear(operations, found, at=at),
    )


def _other_window(line: Foreseen) -> bool:
    if line.now is None or line.then is None or line.then.window is None:
        return False
    window = line.then.window
    return (line.facts.opens_on, line.facts.clear_by) != (window.opens_on, window.clear_by)


def _no_longer_clear(
    operations: Sequence[Operation], found: Sequence[Foreseen], *, at: datetime
) -> list[Operation]:
    confirmed = [one for one in operations if one.booking == Booking.CONFIRMED]
    lines = {line.assignment.operation_id: line for line in found}
    given = answers(confirmed, at=at)
    if any(one.verdict.word == Word.CANNOT_TELL for one in given):
        raise CannotTell
    return [one.operation for one in given if _turns_to_hold(one, lines.get(one.operation.pk))]


def _turns_to_hold(given: OperationAnswer, line: Foreseen | None) -> bool:
    if given.verdict.word != Word.CONFIRM or line is None:
        return False
    needed = [
        Needed(told.assignment.pk, told.assignment.due_before_operation, told.answer)
        for told in given.told
        if told.assignment.module_id != line.assignment.module_id
    ]
    if line.then:
        needed.append(Needed(line.assignment.pk, line.due_before_operation, line.then.answer))
    # It may be confirmed now: it has a date that has not passed, and is open.
    return may_confirm(needed, has_date=True, date_passed=False, is_open=True).word == Word.HOLD
