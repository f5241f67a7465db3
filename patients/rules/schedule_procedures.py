"""Which procedure of ours does a schedule mean?  By code or name, in any case."""

from collections.abc import Sequence

from patients.rules.schedule_columns import Column
from patients.rules.schedule_known import KnownProcedure
from patients.rules.schedule_reasons import Problem, Reason
from patients.rules.schedule_rows import ScheduleRow


class Procedures:
    """The programme's procedures, looked up by what schedules print."""

    def __init__(self, procedures: Sequence[KnownProcedure]) -> None:
        self._names = {one.id: one.name for one in procedures}
        self._ids = {_written(one.name): one.id for one in procedures}
        self._ids |= {_written(one.code): one.id for one in procedures}

    def name(self, procedure_id: int) -> str:
        """Return a procedure's name; empty when there is none with this id."""
        return self._names.get(procedure_id, "")

    def known_as(self, *written: str) -> int | None:
        """Return the id of the first procedure that one of these names or codes means."""
        return next((found for text in written if (found := self._ids.get(_written(text)))), None)

    def meant_by(self, row: ScheduleRow) -> int | Problem:
        """Return the id of the procedure that a row means, or why it means none."""
        by_name = self._ids.get(_written(row.procedure))
        by_code = self._ids.get(_written(row.procedure_code))
        if by_name and by_code and by_name != by_code:
            return Problem(
                Reason.PROCEDURE_CONTRADICTS,
                Column.PROCEDURE,
                f"{row.procedure} / {row.procedure_code}",
            )
        found = by_code or by_name
        if found is None:
            written = row.procedure or row.procedure_code
            return Problem(Reason.PROCEDURE_UNKNOWN, Column.PROCEDURE, written)
        return found


def _written(text: str) -> str:
    return " ".join(text.casefold().split())
