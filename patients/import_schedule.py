"""Import an operating schedule: first what it would change, then the change, in one transaction.

The page and the command share this. A new source of schedules needs only to make the same
`ScheduleRow`s; from there on everything is one way.
"""

import csv
import hashlib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from io import StringIO

from django.db import transaction

from patients import programme
from patients.models import ScheduleReading
from patients.rules.csv_cells import neutralise
from patients.rules.schedule_changes import Proposal, Verdict, propose
from patients.rules.schedule_columns import NOTES, Column
from patients.rules.schedule_dates import Order
from patients.rules.schedule_file import read_text
from patients.rules.schedule_rows import ScheduleRow, date_orders, read_rows
from patients.rules.schedule_table import Table, possible_keys, read_table
from patients.schedule_on_record import on_record
from patients.schedule_reading import columns_of, in_force
from patients.schedule_words import problem_words
from patients.write_schedule import FILE, MEANWHILE, write


@dataclass(frozen=True)
class Preview:
    """What a file would change as the record stands. Nothing was written.

    `reading` is how somebody said that files with these headings are read, if anybody did.
    """

    table: Table
    encoding: str
    day_first: bool | None
    date_orders: Counter[Order]
    procedures: Mapping[int, str]
    proposals: tuple[Proposal, ...]
    reading: ScheduleReading | None = None

    @cached_property
    def counts(self) -> dict[Verdict, int]:
        """How many rows have each verdict; they add up to the rows in the file."""
        found = Counter(proposal.verdict for proposal in self.proposals)
        return {verdict: found[verdict] for verdict in Verdict}

    def of(self, *verdicts: Verdict) -> list[Proposal]:
        """Return the proposals with one of these verdicts, in the file's order."""
        return [proposal for proposal in self.proposals if proposal.verdict in verdicts]

    @property
    def changing(self) -> int:
        """How many rows would write something."""
        return self.counts[Verdict.CREATED] + self.counts[Verdict.UPDATED]

    @property
    def needs_date_order(self) -> bool:
        """Whether a person must say which comes first, the day or the month."""
        return self.day_first is None and self.date_orders[Order.EITHER] > 0

    @cached_property
    def fingerprint(self) -> str:
        """One text that changes when anything in the preview does."""
        return _digest(self.proposals)

    @property
    def seen(self) -> list[str]:
        """For each row a short text that changes when the record it touches does.

        Empty for a rejected row: which record it means is not known.
        """
        return [
            "" if p.verdict == Verdict.REJECTED else _digest((p.patient, p.operation))[:8]
            for p in self.proposals
        ]


class ChangedSincePreview(Exception):
    """The record is not as the preview showed it; `preview` is how it is now."""

    def __init__(self, preview: Preview) -> None:
        super().__init__("the record changed since the preview")
        self.preview = preview


def preview(
    data: bytes, *, day_first: bool | None, at: datetime, read_as_at: datetime | None = None
) -> Preview:
    """Say what a schedule would change. Writes nothing.

    `day_first` is how 03/04/2027 was said to be read, None when nobody said for this file; then
    what was said for such files counts, as it was at `read_as_at` if that is given. Raises
    NotASchedule when the file as a whole cannot be read, and NotFounded when there is no programme.
    """
    on = programme.local_day(at)
    text, encoding = read_text(data)
    readings = in_force(possible_keys(text), known_at=read_as_at)
    table = read_table(text, {key: columns_of(reading) for key, reading in readings.items()})
    reading = readings.get(table.key)
    if day_first is None and reading:
        day_first = reading.day_first
    rows = read_rows(table, day_first=day_first, on=on, plans=reading.plans if reading else {})
    known = on_record([row for row in rows if isinstance(row, ScheduleRow)])
    return Preview(
        table=table,
        encoding=encoding,
        day_first=day_first,
        date_orders=date_orders(table),
        procedures={procedure.id: procedure.name for procedure in known.procedures},
        proposals=tuple(
            _with_headings(p, table)
            for p in propose(rows, known, on=on, words=reading.procedures if reading else {})
        ),
        reading=reading,
    )


def apply(
    data: bytes,
    *,
    day_first: bool | None,
    at: datetime,
    name: str = "",
    by_id: int | None = None,
    shown: str | None = None,
) -> Preview:
    """Do what the preview says: all of it or nothing. Returns what was done.

    `name` is the file's, for the history. `shown` is the fingerprint of the preview that a person
    saw; when the record has changed since, nothing is written and ChangedSincePreview is raised.
    """
    try:
        with transaction.atomic():
            found = preview(data, day_first=day_first, at=at)
            if shown is not None and shown != found.fingerprint:
                raise ChangedSincePreview(found)
            source = f"{FILE}: {name}"[:200]
            write(found.proposals, at=at, source=source, by_id=by_id)
    except MEANWHILE as error:
        # Somebody wrote between our reading and our writing: nothing of ours is left.
        raise ChangedSincePreview(preview(data, day_first=day_first, at=at)) from error
    return found


def rejected_csv(found: Preview) -> bytes:
    """Return the rejected rows as a file: why in front, then the row as it came.

    Once a row is right the file can be imported as it is; the columns in front are passed over.
    They stand in front so that a row with too few or too many fields keeps its own.
    """
    records = {record.line: record.cells for record in found.table.records}
    text = StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([neutralise(cell) for cell in (*NOTES, *found.table.headings)])
    for proposal in found.of(Verdict.REJECTED):
        told = [problem_words(problem, found.procedures) for problem in proposal.problems]
        notes = (
            str(proposal.line),
            "; ".join(problem.column for problem in proposal.problems if problem.column),
            " ".join(reason for reason, _ in told),
            " ".join(fix for _, fix in told),
        )
        writer.writerow([neutralise(cell) for cell in (*notes, *records[proposal.line])])
    return b"\xef\xbb\xbf" + text.getvalue().encode()


def _digest(facts: object) -> str:
    """The facts' own text tells them apart: values and dates only, no object without one."""
    return hashlib.sha256(repr(facts).encode("utf-8", "backslashreplace")).hexdigest()


def _with_headings(proposal: Proposal, table: Table) -> Proposal:
    """Name the columns of problems as the file does."""
    problems = tuple(
        replace(problem, column=_heading(problem.column, table))
        if isinstance(problem.column, Column)
        else problem
        for problem in proposal.problems
    )
    return replace(proposal, problems=problems)


def _heading(column: Column, table: Table) -> str:
    if column == Column.PROCEDURE:
        return table.heading(Column.PROCEDURE, Column.PROCEDURE_CODE)
    if column == Column.FAMILY_NAMES:
        return table.heading(Column.FAMILY_NAMES, Column.FULL_NAME)
    return table.heading(column)
