"""What do the files of a rehearsal say?  Bytes in; what they say out, or all that is wrong.

CSV as the schedule import reads it (schedule_file.py, schedule_table.py): UTF-8, UTF-16 or cp1252,
separated by commas, semicolons or tabs. Columns stand in any order, headings in any case and with
any blanks and signs; other columns are passed over. Nothing is taken from files of which a part is
wrong: a rehearsal on half a register would promise what the whole one does not keep.

On the register a date of birth that cannot be is an error of the file. In a claim it is what
somebody typed, so it is kept; it never equals a date on the register.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from patients.rules.csv_cells import restore
from patients.rules.identity import Born, Claim, WrittenDate
from patients.rules.in_memory import Person
from patients.rules.schedule_columns import plain
from patients.rules.schedule_file import read_text
from patients.rules.schedule_reasons import NotASchedule, Refusal
from patients.rules.schedule_table import SEPARATORS, Record, records_of

EARLIEST = date(1890, 1, 1)  # nobody who was born before is alive
LONGEST = 10_000  # characters in one cell
ISO = re.compile(r"(\d{4})-(\d{2})-(\d{2})|(\d{4})(\d{2})(\d{2})", re.ASCII)
EMPTY_CELLS = ' \t\r\n,;"'
LINE_END = re.compile(r"\r\n|\r|\n")

PATIENT_ID, CLAIM_ID = "patient_id", "claim_id"
GIVEN, FAMILY, BORN = "given_name", "family_name", "date_of_birth"


class Part(StrEnum):
    """Which of the files it is."""

    REGISTER = "register"
    CLAIMS = "claims"
    TRUTH = "truth"


COLUMNS: Mapping[Part, tuple[str, ...]] = {
    Part.REGISTER: (PATIENT_ID, GIVEN, FAMILY, BORN),
    Part.CLAIMS: (CLAIM_ID, GIVEN, FAMILY, BORN),
    Part.TRUTH: (CLAIM_ID, PATIENT_ID),
}


class Wrong(StrEnum):
    """What can be wrong with a file that is a CSV file."""

    COLUMN_MISSING = "column_missing"
    COLUMN_TWICE = "column_twice"
    NO_PATIENTS = "no_patients"
    NO_CLAIMS = "no_claims"
    TOO_MANY_ROWS = "too_many_rows"
    TOO_FEW_FIELDS = "too_few_fields"
    TOO_MANY_FIELDS = "too_many_fields"
    HAS_NUL = "has_nul"
    TOO_LONG = "too_long"
    ID_MISSING = "id_missing"
    ID_WITH_SPACE = "id_with_space"
    ID_TWICE = "id_twice"
    NOT_ISO = "not_iso"
    NO_SUCH_DAY = "no_such_day"
    IN_THE_FUTURE = "in_the_future"
    TOO_EARLY = "too_early"
    CLAIM_UNKNOWN = "claim_unknown"
    PATIENT_UNKNOWN = "patient_unknown"


WITHOUT_ROWS: Mapping[Part, Wrong] = {
    Part.REGISTER: Wrong.NO_PATIENTS,
    Part.CLAIMS: Wrong.NO_CLAIMS,
}


@dataclass(frozen=True)
class Problem:
    """What is wrong in one place. `line` counts the lines of the file from 1, in quotes too.

    `column` is the heading as the file writes it, empty where the whole row or file is meant.
    `first_line` is where an id stands that may stand there once only.
    """

    part: Part
    line: int
    column: str
    wrong: Wrong | Refusal
    detail: str = ""
    first_line: int = 0


class NotRehearsable(Exception):
    """Something is wrong with the files: all of it, in the order of the files."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__(f"{len(problems)} problems")
        self.problems = tuple(problems)


@dataclass(frozen=True)
class Limits:
    """How much of each file is read: bytes of the file, and rows under its header."""

    max_bytes: int
    rows: Mapping[Part, int]


@dataclass(frozen=True)
class Asked:
    """One claim of the file, under its own number."""

    claim_id: str
    claim: Claim


@dataclass(frozen=True)
class About:
    """How a file was read."""

    part: Part
    rows: int
    encoding: str
    separator: str
    blank_rows: int


@dataclass(frozen=True)
class Files:
    """What the files say. `truth`: claim id to patient id, None for nobody on the register."""

    people: tuple[Person, ...]
    claims: tuple[Asked, ...]
    truth: Mapping[str, str | None] | None
    about: tuple[About, ...]


def read_files(contents: Mapping[Part, bytes], *, on: date, limits: Limits) -> Files:
    """Read register and claims, and the truth if it is there, as of the day `on`.

    Raises NotRehearsable with everything that is wrong in any of them.
    """
    sheets = {part: _Sheet(part, contents[part], limits) for part in Part if part in contents}
    people = list(_people(sheets[Part.REGISTER], on))
    claims = list(_claims(sheets[Part.CLAIMS]))
    truth = dict(_truth(sheets[Part.TRUTH], sheets)) if Part.TRUTH in sheets else None
    problems = [problem for sheet in sheets.values() for problem in sheet.problems]
    if problems:
        raise NotRehearsable(problems)
    return Files(tuple(people), tuple(claims), truth, tuple(s.about for s in sheets.values()))


def _people(sheet: "_Sheet", on: date) -> Iterator[Person]:
    for row in sheet.rows():
        patient_id = row.own_id(PATIENT_ID)
        if len(patient_id.split()) > 1:  # ids stand in one column of the decisions, blanks between
            row.wrong(PATIENT_ID, Wrong.ID_WITH_SPACE, patient_id)
        born = row.born()
        if isinstance(born, WrittenDate):
            row.wrong(BORN, Wrong.NO_SUCH_DAY, row[BORN])
        elif born and born > on:
            row.wrong(BORN, Wrong.IN_THE_FUTURE, row[BORN])
        elif born and born < EARLIEST:
            row.wrong(BORN, Wrong.TOO_EARLY, row[BORN])
        yield Person(patient_id, row[GIVEN], row[FAMILY], born)


def _claims(sheet: "_Sheet") -> Iterator[Asked]:
    for row in sheet.rows():
        yield Asked(row.own_id(CLAIM_ID), Claim(row[GIVEN], row[FAMILY], row.born()))


def _truth(sheet: "_Sheet", sheets: Mapping[Part, "_Sheet"]) -> Iterator[tuple[str, str | None]]:
    claims, register = sheets[Part.CLAIMS], sheets[Part.REGISTER]
    for row in sheet.rows():
        claim_id, patient_id = row.own_id(CLAIM_ID), row[PATIENT_ID]
        if claim_id and claims.complete and claim_id not in claims.ids:
            row.wrong(CLAIM_ID, Wrong.CLAIM_UNKNOWN, claim_id)
        if patient_id and register.complete and patient_id not in register.ids:
            row.wrong(PATIENT_ID, Wrong.PATIENT_UNKNOWN, patient_id)
        yield claim_id, patient_id or None


@dataclass
class _Sheet:
    """One file, taken apart as far as it can be.

    `ids`: those of its rows, wrong rows too, with the line of each. `complete`: it was read to its
    end, so an id that is not among them is not in the file.
    """

    part: Part
    data: bytes
    limits: Limits
    problems: list[Problem] = field(default_factory=list)
    ids: dict[str, int] = field(default_factory=dict)
    complete: bool = False
    headings: tuple[str, ...] = ()
    places: dict[str, int] = field(default_factory=dict)
    about: About = field(init=False)

    def rows(self) -> Iterator["_Row"]:
        """Yield the rows that have as many fields as the header; what is wrong is collected."""
        try:
            text, encoding = read_text(self.data, max_bytes=self.limits.max_bytes)
            if not text.strip(EMPTY_CELLS):
                raise NotASchedule(Refusal.EMPTY)
            separator = max(SEPARATORS, key=lambda one: _known(text, one, COLUMNS[self.part]))
            yield from self._rows(text, encoding, separator)
        except NotASchedule as refused:
            detail = str(refused.detail.get("limit", ""))
            line = int(refused.detail.get("line", 1))
            self.problems.append(Problem(self.part, line, "", refused.refusal, detail))

    def _rows(self, text: str, encoding: str, separator: str) -> Iterator["_Row"]:
        records = records_of(text, separator)
        header = next((record for record in records if not _is_blank(record)), None)
        if header is None:
            raise NotASchedule(Refusal.EMPTY)
        if not self._find_columns(header):
            return
        count = blank = 0
        for record in records:
            if _is_blank(record):
                blank += 1
                continue
            if count == self.limits.rows.get(self.part, count + 1):
                self._wrong(record.line, "", Wrong.TOO_MANY_ROWS, str(count))
                return
            count += 1
            if row := self._row(record):
                yield row
        if not count and self.part in WITHOUT_ROWS:
            self._wrong(header.line, "", WITHOUT_ROWS[self.part])
            return
        self.complete = True
        self.about = About(self.part, count, encoding, separator, blank)

    def _find_columns(self, header: Record) -> bool:
        self.headings = tuple(heading.strip() for heading in header.cells)
        written = [plain(heading) for heading in self.headings]
        for column in COLUMNS[self.part]:
            times = written.count(plain(column))
            if times == 1:
                self.places[column] = written.index(plain(column))
            elif times:
                self._wrong(header.line, column, Wrong.COLUMN_TWICE)
            else:
                found = ", ".join(heading for heading in self.headings if heading)
                self._wrong(header.line, column, Wrong.COLUMN_MISSING, found[:200])
        return len(self.places) == len(COLUMNS[self.part])

    def _row(self, record: Record) -> "_Row | None":
        row = _Row(self, record)
        has, needs = len(record.cells), len(self.headings)
        if has < needs:
            self._wrong(record.line, self.headings[has], Wrong.TOO_FEW_FIELDS, f"{has} of {needs}")
        elif has > needs:
            self._wrong(record.line, "", Wrong.TOO_MANY_FIELDS, f"{has}, not {needs}")
        for place, cell in enumerate(record.cells[:needs]):
            if "\0" in cell:
                self._wrong(row.line_of(place), self.headings[place], Wrong.HAS_NUL)
            if len(cell) > LONGEST:
                self._wrong(row.line_of(place), self.headings[place], Wrong.TOO_LONG, str(LONGEST))
        if has == needs:
            return row
        place = self.places[COLUMNS[self.part][0]]
        if place < has:
            self.ids.setdefault(restore(record.cells[place].strip()), row.line_of(place))
        return None

    def _wrong(self, line: int, column: str, wrong: Wrong, detail: str = "") -> None:
        self.problems.append(Problem(self.part, line, column, wrong, detail))


@dataclass(frozen=True)
class _Row:
    """One row under the header; `row[column]` is its cell without the blanks around it."""

    sheet: _Sheet
    record: Record

    def __getitem__(self, column: str) -> str:
        return restore(self.record.cells[self.sheet.places[column]].strip())

    def line_of(self, place: int) -> int:
        """The line on which a cell begins: cells before it may hold line ends."""
        return self.record.line + sum(len(LINE_END.findall(c)) for c in self.record.cells[:place])

    def own_id(self, column: str) -> str:
        """The id of this row, which no other row may have."""
        own = self[column]
        line = self.line_of(self.sheet.places[column])
        if not own:
            self.wrong(column, Wrong.ID_MISSING)
        elif (first := self.sheet.ids.setdefault(own, line)) != line:
            self.wrong(column, Wrong.ID_TWICE, own, first)
        return own

    def born(self) -> Born:
        """The date of birth; None where the cell is empty, and where it is wrong."""
        text = self[BORN]
        if not text:
            return None
        parts = ISO.fullmatch(text)
        if not parts:
            self.wrong(BORN, Wrong.NOT_ISO, text)
            return None
        year, month, day = (int(part) for part in parts.groups() if part)
        try:
            return date(year, month, day)
        except ValueError:
            return WrittenDate(year, month, day)

    def wrong(self, column: str, wrong: Wrong, detail: str = "", first_line: int = 0) -> None:
        """Say what is wrong with a cell."""
        place = self.sheet.places[column]
        heading = self.sheet.headings[place]
        self.sheet.problems.append(
            Problem(self.sheet.part, self.line_of(place), heading, wrong, detail, first_line)
        )


def _known(text: str, separator: str, columns: Sequence[str]) -> tuple[int, int]:
    """Count the columns that the first line has with this separator: the known ones, and all."""
    try:
        header = next((r for r in records_of(text, separator) if not _is_blank(r)), None)
    except NotASchedule:
        header = None
    if header is None:
        return 0, 0
    written = {plain(cell) for cell in header.cells}
    return sum(plain(column) in written for column in columns), len(header.cells)


def _is_blank(record: Record) -> bool:
    return not any(cell.strip() for cell in record.cells)
