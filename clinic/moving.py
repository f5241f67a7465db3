"""What a moved OR date would do, before it is moved: nothing here writes."""

from dataclasses import dataclass
from datetime import date

from clinic.confirm import OperationAnswer
from education.assign import in_force
from education.models import Assignment
from education.rules.confirm import Requirement, Verdict, may_confirm
from education.rules.moved import Moved, moved
from education.rules.standing import Answer
from patients import programme


@dataclass(frozen=True)
class Line:
    """One assignment as it is, and as it would be."""

    assignment: Assignment
    now: Answer
    then: Moved

    @property
    def changes(self) -> bool:
        """Whether the standing would be another one."""
        return self.now.standing != self.then.answer.standing


@dataclass(frozen=True)
class Preview:
    """The answer and the assignments of an operation, if its date were `or_date`."""

    or_date: date | None
    verdict: Verdict
    lines: tuple[Line, ...]


def preview_move(given: OperationAnswer, or_date: date | None, *, on: date) -> Preview:
    """Say what moving the operation to `or_date` (None: no date yet) would do, on the day `on`."""
    offsets = {r.module_id: r for r in in_force(given.operation.procedure)}
    notice_days = programme.current().notice_days
    lines = tuple(
        Line(
            told.assignment,
            told.answer,
            moved(
                told.facts,
                or_date,
                opens_days=offsets[told.assignment.module_id].opens_days,
                clear_by_days=offsets[told.assignment.module_id].clear_by_days,
                on=on,
                notice_days=notice_days,
            ),
        )
        for told in given.told
    )
    verdict = may_confirm(
        [
            Requirement(x.assignment.pk, x.assignment.due_before_operation, x.then.answer)
            for x in lines
        ],
        has_date=or_date is not None,
        date_passed=or_date is not None and or_date < on,
        is_open=given.operation.is_open,
    )
    return Preview(or_date, verdict, lines)
