"""Which rows of one schedule contradict each other?  Then none of them sets anything."""

from collections import defaultdict
from collections.abc import Callable, Hashable, Mapping, Sequence

from patients.rules.schedule_columns import Column
from patients.rules.schedule_known import mrn_key
from patients.rules.schedule_persons import another_person
from patients.rules.schedule_reasons import Problem, Reason
from patients.rules.schedule_rows import ScheduleRow

Rows = Sequence[ScheduleRow]


def contradictions(
    rows: Rows, procedure_ids: Mapping[int, int], speakers: Mapping[str, str]
) -> dict[int, Problem]:
    """Return the problem of each row, by line, that another row contradicts.

    `procedure_ids` says by line which procedure each row means; `speakers` says, for the record
    numbers that were merged, whose number speaks for them (both as keys). Two rows that say exactly
    the same contradict nothing, nor do names and addresses under two numbers of one patient.
    """

    def patient(row: ScheduleRow) -> str:
        return speakers.get(mrn_key(row.mrn), mrn_key(row.mrn))

    def planned(row: ScheduleRow) -> tuple[Hashable, ...]:
        return (
            patient(row),
            procedure_ids[row.line],
            row.case_number.casefold(),
            row.or_date,
            row.plan,
            row.surgeon,
            row.facility,
        )

    found: dict[int, Problem] = {}
    for group in _groups(rows, lambda row: mrn_key(row.mrn)):
        found |= _different_people(group) or _different_facts(group)
    for group in _groups(rows, lambda row: row.case_number.casefold() or None):
        if len(set(map(planned, group))) > 1:
            found |= _all_of(group, Reason.OPERATION_TWICE, Column.CASE_NUMBER) | found
    by_plan = _groups(rows, lambda row: (patient(row), procedure_ids[row.line]))
    for group in by_plan:
        nameless = any(not row.case_number for row in group)
        if nameless and len(set(map(planned, group))) > 1:
            found |= _all_of(group, Reason.OPERATION_TWICE, Column.CASE_NUMBER) | found
    return found


def _groups(rows: Rows, key: Callable[[ScheduleRow], Hashable]) -> list[list[ScheduleRow]]:
    """Return the rows that share a key, where more than one does."""
    together: dict[Hashable, list[ScheduleRow]] = defaultdict(list)
    for row in rows:
        if (value := key(row)) is not None:
            together[value].append(row)
    return [group for group in together.values() if len(group) > 1]


def _different_people(group: Rows) -> dict[int, Problem]:
    if any(another_person(row, group[0]) for row in group[1:]):
        return _all_of(group, Reason.MRN_TWICE, Column.MRN)
    return {}


def _different_facts(group: Rows) -> dict[int, Problem]:
    """The first row to say something about a patient counts; a later one may not differ."""
    said: dict[Column, tuple[str, int]] = {}
    found: dict[int, Problem] = {}
    for row in group:
        facts = {
            Column.FAMILY_NAMES: f"{row.given_names} {row.family_names}".casefold(),
            Column.EMAIL: row.email.casefold(),
            Column.PHONE: row.phone,
            Column.LANGUAGE: row.language,
        }
        for column, value in facts.items():
            if not value:
                continue
            before, line = said.setdefault(column, (value, row.line))
            if before != value:
                found.setdefault(row.line, Problem(Reason.CONTRADICTS_LINE, column, str(line)))
    return found


def _all_of(group: Rows, reason: Reason, column: Column) -> dict[int, Problem]:
    lines = [row.line for row in group]
    return {
        line: Problem(reason, column, ", ".join(str(other) for other in lines if other != line))
        for line in lines
    }
