"""Where are the rows of a CSV text?  The separator, the header, and the records under it.

CSV as RFC 4180 describes it (standards row CSV-1), also with semicolons or tabs. Quotation marks
that do not come in pairs refuse the file: where a row ends could only be guessed.
"""

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from io import StringIO
from itertools import islice
from types import MappingProxyType

from patients.rules.csv_cells import restore
from patients.rules.schedule_columns import Column, Header, must_be_complete, recognise
from patients.rules.schedule_dates import read_date
from patients.rules.schedule_reading import Place, header_of, is_note, key_of, numbered
from patients.rules.schedule_reasons import NotASchedule, Reason, Refusal

SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab"}
MAX_ROWS = 100_000
MAX_COLUMNS = 60
MAX_CELL = 10_000
# Exports may begin with a title and a date; the header is looked for in this many lines.
HEADER_WITHIN = 10
# What a person is shown of each column: so many values, from so many lines.
EXAMPLES, LOOKED_AT = 3, 200
# A cell that is too long is told with its place (MAX_CELL), not as csv's own error.
csv.field_size_limit(2**31 - 1)

Columns = Mapping[Column, Place]
NOTHING_CHOSEN: Mapping[str, Columns] = MappingProxyType({})


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
    has_header: bool = True
    # One for the same headings in any order (patients.rules.schedule_reading).
    key: str = ""

    def heading(self, *columns: Column) -> str:
        """Return how the file itself calls a column, the first of these that it has."""
        return next((self.headings[self.places[c]] for c in columns if c in self.places), "")


@dataclass(frozen=True)
class Outline:
    """A file as somebody is shown it who says what its columns are.

    `header_line` is 0 when there are no headings; `examples` are each column's first values.
    """

    first_lines: tuple[Record, ...]
    header_line: int
    headings: tuple[str, ...]
    examples: tuple[tuple[str, ...], ...]
    recognised: Mapping[Column, int]
    key: str


@dataclass(frozen=True)
class _Top:
    """What stands above the first row; `line` is where that begins, counted from 1."""

    separator: str
    line: int
    has_header: bool
    kept: tuple[int, ...]
    headings: tuple[str, ...]
    found: Header

    @property
    def key(self) -> str:
        return key_of(self.headings)


def read_table(text: str, chosen: Mapping[str, Columns] = NOTHING_CHOSEN) -> Table:
    """Take a CSV text apart. Raises NotASchedule for broken quotes, limits, missing columns.

    `chosen` says which columns a person chose for files with these headings, by their key.
    """
    top = _chosen_top(text, chosen) or _recognised_top(text)
    must_be_complete(top.found, top.headings, top.line)
    rows: list[Record] = []
    blank = 0
    for record in records_of(text, top.separator):
        if record.line < top.line + top.has_header:
            continue
        if not any(cell.strip() for cell in record.cells):
            blank += 1
            continue
        if len(rows) == MAX_ROWS:
            raise NotASchedule(Refusal.TOO_MANY_ROWS, limit=MAX_ROWS)
        _within_limits(record)
        rows.append(Record(record.line, _restored(record.cells, top)))
    return Table(
        separator=top.separator,
        headings=top.headings,
        places=top.found.places,
        unused=top.found.unused,
        lines_above=top.line - 1,
        blank_rows=blank,
        records=tuple(rows),
        has_header=top.has_header,
        key=top.key,
    )


def _restored(cells: tuple[str, ...], top: _Top) -> tuple[str, ...]:
    """Return a row's own cells, without those under the notes of a file of rejected rows."""
    own = frozenset(top.kept)
    width = max(top.kept, default=-1)
    return tuple(restore(cell) for i, cell in enumerate(cells) if i in own or i > width)


def possible_keys(text: str) -> set[str]:
    """Return every key under which somebody may have said how this text is read."""
    return {
        key
        for separator in SEPARATORS
        for record in _first_records(text, separator)
        for key in (key_of(record.cells), key_of(numbered(len(record.cells))))
    }


def _chosen_top(text: str, chosen: Mapping[str, Columns]) -> _Top | None:
    """Return the top that a person described: the headings, or else the columns by number."""
    if not chosen:
        return None
    for separator in SEPARATORS:
        for record in _first_records(text, separator):
            if key_of(record.cells) in chosen:
                return _top(separator, record, chosen)
    recognised = _recognised_top(text)
    first = next(_first_records(text, recognised.separator))
    columns = chosen.get(key_of(numbered(len(first.cells))))
    if columns is None or not recognised.found.missing:
        return None
    top = _numbered_top(recognised.separator, first, columns)
    born = first.cells[top.found.places[Column.BIRTH_DATE]]
    # Another file with as many columns: its first line says nothing where a birth date should be.
    unlike = read_date(born, day_first=None) in (Reason.DATE_UNREADABLE, Reason.ZONED_TIME)
    return None if unlike else top


def _recognised_top(text: str) -> _Top:
    separator, line = _find_header(text)
    record = next(one for one in records_of(text, separator) if one.line == line)
    return _top(separator, record, NOTHING_CHOSEN)


def _top(separator: str, record: Record, chosen: Mapping[str, Columns]) -> _Top:
    _within_limits(record)
    kept = tuple(i for i, cell in enumerate(record.cells) if not is_note(cell))
    headings = tuple(record.cells[i].strip() for i in kept)
    columns = chosen.get(key_of(headings))
    found = recognise(headings) if columns is None else header_of(columns, headings)
    return _Top(separator, record.line, True, kept, headings, found)


def _numbered_top(separator: str, first: Record, columns: Columns) -> _Top:
    _within_limits(first)
    headings = numbered(len(first.cells))
    kept = tuple(range(len(headings)))
    return _Top(separator, first.line, False, kept, headings, header_of(columns, headings))


def outline(text: str, *, header_line: int | None) -> Outline:
    """Show a person what the columns hold. `header_line` is what they said: 0 for no headings.

    None: nobody said, and it is guessed. Raises NotASchedule for broken quotes and limits.
    """
    separator, likely = _find_header(text)
    first_lines = tuple(_first_records(text, separator))
    if header_line is None:
        header_line = _guessed_header(first_lines, likely)
    header = next((one for one in first_lines if one.line == header_line), None)
    if header is None:
        top = _numbered_top(separator, max(first_lines, key=lambda one: len(one.cells)), {})
        top = replace(top, line=first_lines[0].line)
    else:
        top = _top(separator, header, NOTHING_CHOSEN)
    seen: list[list[str]] = [[] for _ in top.headings]
    for record in islice(records_of(text, separator), LOOKED_AT):
        if record.line < top.line + top.has_header:
            continue
        for values, i in zip(seen, top.kept, strict=True):
            value = restore(record.cells[i]).strip() if i < len(record.cells) else ""
            if value and value not in values and len(values) < EXAMPLES:
                values.append(value)
    return Outline(
        first_lines=first_lines,
        header_line=top.line if top.has_header else 0,
        headings=top.headings,
        examples=tuple(tuple(values) for values in seen),
        recognised=top.found.places,
        key=top.key,
    )


def _guessed_header(first_lines: Sequence[Record], likely: int) -> int:
    """A line with known headings, else the first of the widest ones without a digit, else none."""
    for record in first_lines:
        if record.line == likely and recognise(record.cells).places:
            return likely
    widest = max(len(record.cells) for record in first_lines)
    wide = [record for record in first_lines if len(record.cells) == widest]
    if any(char.isdigit() for cell in wide[0].cells for char in cell):
        return 0
    return wide[0].line


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
