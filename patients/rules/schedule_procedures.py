"""Which procedure of ours does a schedule mean?  By code or name, in any case."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from patients.rules.schedule_columns import Column
from patients.rules.schedule_known import KnownProcedure
from patients.rules.schedule_reading import written
from patients.rules.schedule_reasons import Problem, Reason
from patients.rules.schedule_rows import ScheduleRow

Meant = Mapping[str, int | None]
NOTHING_SAID: Meant = MappingProxyType({})
NOT_OURS = 0


class Procedures:
    """The programme's procedures, looked up by what schedules print.

    `meant` is what somebody said that other names mean; None is a procedure that is not ours.
    """

    def __init__(self, procedures: Sequence[KnownProcedure], meant: Meant = NOTHING_SAID) -> None:
        self._procedures = procedures
        self._names = {one.id: one.name for one in procedures}
        self._ids = {
            word: NOT_OURS if found is None else found
            for word, found in meant.items()
            if found is None or found in self._names
        }
        self._ids |= {written(one.name): one.id for one in procedures}
        self._ids |= {written(one.code): one.id for one in procedures}

    def with_words(self, meant: Meant) -> "Procedures":
        """Return the same procedures, looked up by what somebody said as well."""
        return Procedures(self._procedures, meant) if meant else self

    def name(self, procedure_id: int) -> str:
        """Return a procedure's name; empty when there is none with this id."""
        return self._names.get(procedure_id, "")

    def known_as(self, *words: str) -> int | None:
        """Return the id of the first procedure that one of these names or codes means."""
        return next((found for word in words if (found := self._ids.get(written(word)))), None)

    def meant_by(self, row: ScheduleRow) -> int | Problem:
        """Return the id of the procedure that a row means, or why it means none."""
        by_name = self._ids.get(written(row.procedure))
        by_code = self._ids.get(written(row.procedure_code))
        if by_name is not None and by_code is not None and by_name != by_code:
            return Problem(
                Reason.PROCEDURE_CONTRADICTS,
                Column.PROCEDURE,
                f"{row.procedure} / {row.procedure_code}",
            )
        found = by_name if by_code is None else by_code
        if not found:
            reason = Reason.PROCEDURE_UNKNOWN if found is None else Reason.PROCEDURE_NOT_OURS
            return Problem(reason, Column.PROCEDURE, row.procedure or row.procedure_code)
        return found

    def knows(self, word: str) -> bool:
        """Say whether a name or code means something here."""
        return written(word) in self._ids
