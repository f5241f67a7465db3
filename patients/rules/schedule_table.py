"""Where are the rows of a CSV text?  The separator, the header, and the records under it.

CSV as RFC 4180 describes it (standards row CSV-1), also with semicolons or tabs. Quotation marks
that do not come in pairs refuse the file: where a row ends could only be guessed.
"""

import csv
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from io import StringIO

from patients.rules.csv_cells import restore
from patients.rules.schedule_columns import (
    NOTES_PLAIN,
    Column,
    must_be_complete,
    plain,
    recognise,
)
from patients.rules.schedule_reasons import NotASchedule, Refusal

SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab"}
MAX_ROWS = 100_000
MAX_COLUMNS = 60
MAX_CELL = 10_000
# Exports may begin with a title and a date; the header is looked for in this many lines.
HEADER_WITHIN = 10


@dataclass(frozen=True)
class Record:
    """One row as the file has it; `line` counts from 1, where the row begins."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """A file taken apart. `records` holds no blank rows; they are counted."""

    separator: str
    headings: tuple[str, ...]
    places: Mapping[Column, int]
    unused: tuple[str, ...]
    lines_above: int
    blank_rows: int
    records: tuple[Record, ...]

    def heading(self, *columns: Column) -> str:
        """Return how the file itself calls a column, the first of these that it has."""
        return next((self.headings[self.places[c]] for c in columns if c in self.places), "")


def read_table(text: str) -> Table:
    """Take a CSV text apart. Raises NotASchedule for broken quotes, limits, missing columns."""
    separator, header_line = _find_header(text)
    records = records_of(text, separator)
    header = next(record for record in records if record.line == header_line)
    _within_limits(header)
    kept = [i for i, cell in enumerate(header.cells) if plain(cell) not in NOTES_PLAIN]
    dropped = frozenset(range(len(header.cells))) - frozenset(kept)
    headings = tuple(header.cells[i].strip() for i in kept)
    found = recognise(headings)
    must_be_complete(found, headings, header.line)
    rows: list[Record] = []
    blank = 0
    for record in records:
        if not any(cell.strip() for cell in record.cells):
            blank += 1
            continue
        if len(rows) == MAX_ROWS:
            raise NotASchedule(Refusal.TOO_MANY_ROWS, limit=MAX_ROWS)
        _within_limits(record)
        rows.append(
            Record(
                record.line,
                tuple(restore(cell) for i, cell in enumerate(record.cells) if i not in dropped),
            )
        )
    return Table(
        separator, headings, found.places, found.unused, header_line - 1, blank, tuple(rows)
    )


def _find_header(text: str) -> tuple[str, int]:
    """Return the separator and the line under which most known columns stand."""
    best: tuple[int, int, str, int] | None = None
    for separator in SEPARATORS:
        for record in _first_records(text, separator):
            known = len(recognise(record.cells).places)
            score = (known, len(record.cells), separator, record.line)
            if best is None or score[:2] > best[:2]:
                best = score
    if best is None:
        raise NotASchedule(Refusal.BROKEN_QUOTES, line=1)
    if best[0] == 0:  # no header anywhere: complain about the first line
        first = next(_first_records(text, best[2]))
        return best[2], first.line
    return best[2], best[3]


def _first_records(text: str, separator: str) -> Iterator[Record]:
    """Yield the records near the top that are not blank, as far as they can be read."""
    left = HEADER_WITHIN
    try:
        for record in records_of(text, separator):
            if any(cell.strip() for cell in record.cells):
                yield record
                left -= 1
            if not left:
                return
    except NotASchedule:
        return


def records_of(text: str, separator: str) -> Iterator[Record]:
    """Yield every row of a CSV text, blank ones too. Raises NotASchedule for broken quotes."""
    reader = csv.reader(StringIO(text, newline=""), delimiter=separator, strict=True)
    line = 1
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise NotASchedule(Refusal.BROKEN_QUOTES, line=line) from error
        yield Record(line, tuple(cells))
        line = reader.line_num + 1


def _within_limits(record: Record) -> None:
    if len(record.cells) > MAX_COLUMNS:
        raise NotASchedule(Refusal.TOO_MANY_COLUMNS, limit=MAX_COLUMNS, line=record.line)
    if max(map(len, record.cells)) > MAX_CELL:
        raise NotASchedule(Refusal.CELL_TOO_LONG, limit=MAX_CELL, line=record.line)
