"""What does each row of a schedule say?  Cells in; facts out, or every reason why not.

A `ScheduleRow` knows nothing of CSV: whatever brings a schedule (a message, a bundle) becomes the
same rows, and patients/rules/schedule_changes.py compares those with what is on record.
"""

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from functools import cached_property
from types import MappingProxyType

from patients.rules.languages import meant_by
from patients.rules.names import name_key
from patients.rules.schedule_columns import Column
from patients.rules.schedule_dates import Order, order_of, read_date
from patients.rules.schedule_names import in_one_case, readable
from patients.rules.schedule_reading import written
from patients.rules.schedule_reasons import Notice, Problem, Reason, Said
from patients.rules.schedule_table import Record, Table


class Plan(StrEnum):
    """What a schedule says about an operation. Confirming it is decided here, not there."""

    SCHEDULED = "scheduled"
    ON_HOLD = "on_hold"
    DONE = "done"
    CANCELLED = "cancelled"


PLANS = {
    word: plan
    for plan, words in {
        Plan.SCHEDULED: (
            "scheduled,booked,confirmed,proposed,tentative,pending,requested,active,planned,new,"
            "rescheduled,programada,programado,confirmada,confirmado"
        ),
        Plan.ON_HOLD: "hold,on hold,on_hold,held,onhold,waiting,postponed,en espera,pospuesta",
        Plan.DONE: "done,completed,complete,performed,finished,realizada,realizado",
        Plan.CANCELLED: (
            "cancelled,canceled,cancel,cancelled by patient,canceled by patient,cancelada,cancelado"
        ),
    }.items()
    for word in words.split(",")
}
NOTHING_SAID: Mapping[str, str] = MappingProxyType({})
# As wide as the record's own columns.
LONGEST = {
    Column.MRN: 40,
    Column.FAMILY_NAMES: 200,
    Column.GIVEN_NAMES: 200,
    Column.FULL_NAME: 400,
    Column.EMAIL: 254,
    Column.PHONE: 40,
    Column.CASE_NUMBER: 40,
    Column.SURGEON: 200,
    Column.FACILITY: 200,
}
LONGEST_OTHER = 250
OLDEST_PATIENT = 120  # years
SCHEDULE_BACK, SCHEDULE_AHEAD = 10, 5  # years; a date outside is a slip of the finger

# NUL and other controls; marks that turn the direction of the text around them.
UNWANTED = re.compile("[\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ufffd]")
BREAKS = re.compile("[\r\n\u2028\u2029]+")
MAY_BREAK = frozenset({Column.SURGEON, Column.FACILITY, Column.PROCEDURE, Column.PROCEDURE_CODE})
EMAIL = re.compile(r"[^\s@,;:<>()\[\]\"]+@[^\s@,;:<>()\[\]\"]+\.[^\s@,;:<>()\[\]\".]{2,}")
# What a spreadsheet makes of a long number: 1.23457E+11.
SHORTENED_NUMBER = re.compile(r"\d([.,]\d+)?E\+\d+", re.I)


@dataclass(frozen=True)
class ScheduleRow:
    """One operation as a schedule tells it. Empty text and None mean that it says nothing."""

    line: int
    mrn: str
    given_names: str
    family_names: str
    in_one_case: bool
    birth_date: date
    or_date: date | None
    procedure: str = ""
    procedure_code: str = ""
    plan: Plan | None = None
    email: str = ""
    phone: str = ""
    language: str = ""
    case_number: str = ""
    surgeon: str = ""
    facility: str = ""
    # It says nothing of the OR date: the one on record stays. In a file, no date means no date.
    keeps_date: bool = False
    notices: tuple[Said, ...] = ()

    @cached_property
    def name_key(self) -> str:
        """The name in the form in which equal names are equal."""
        return name_key(self.given_names, self.family_names)


@dataclass(frozen=True)
class Unreadable:
    """A row that cannot be read, with everything that is wrong with it."""

    line: int
    problems: tuple[Problem, ...]


def read_rows(
    table: Table,
    *,
    day_first: bool | None,
    on: date,
    plans: Mapping[str, str] = NOTHING_SAID,
) -> list[ScheduleRow | Unreadable]:
    """Read every record of a table, in order.

    `plans` is what somebody said that words of the status column mean, before what is known here.
    """
    known = PLANS | {word: Plan(plan) for word, plan in plans.items()}
    return [_Reading(table, record, day_first, on, known).row() for record in table.records]


def words_of(table: Table, *columns: Column) -> Counter[str]:
    """Count what stands in the first of these columns that is filled in, row by row."""
    places = [table.places[column] for column in columns if column in table.places]
    found: Counter[str] = Counter()
    for record in table.records:
        cells = (" ".join(record.cells[p].split()) for p in places if p < len(record.cells))
        word = next((cell for cell in cells if cell), "")
        if word and len(word) <= LONGEST_OTHER and not UNWANTED.search(word):
            found[word] += 1
    return found


def date_orders(table: Table) -> Counter[Order]:
    """Count how the dates in numbers can be read, to help a person choose the order."""
    places = [table.places[c] for c in (Column.BIRTH_DATE, Column.OR_DATE) if c in table.places]
    return Counter(
        order
        for record in table.records
        for place in places
        if place < len(record.cells) and (order := order_of(record.cells[place]))
    )


class _Reading:
    """One record being read; collects what is wrong with it."""

    def __init__(
        self,
        table: Table,
        record: Record,
        day_first: bool | None,
        on: date,
        plans: Mapping[str, Plan],
    ) -> None:
        self.table, self.record, self.day_first, self.on = table, record, day_first, on
        self.plans = plans
        self.problems: list[Problem] = []
        self.notices: list[Said] = []

    def row(self) -> ScheduleRow | Unreadable:
        cells, wanted = self.record.cells, len(self.table.headings)
        if len(cells) < wanted or any(cell.strip() for cell in cells[wanted:]):
            detail = f"{len(cells)} / {wanted}"
            return Unreadable(self.record.line, (Problem(Reason.WRONG_FIELD_COUNT, detail=detail),))
        mrn = self.number(Column.MRN, needed=True)
        given, family = self.names()
        one_case = in_one_case(f"{given} {family}")
        if one_case and (given, family) != (names := (readable(given), readable(family))):
            given, family = names
            self.notices.append(Said(Notice.NAME_RECASED, f"{given} {family}".strip()))
        birth_date = self.birth_date()
        procedure, code = self.procedure()
        read = ScheduleRow(
            line=self.record.line,
            mrn=mrn,
            given_names=given,
            family_names=family,
            in_one_case=one_case,
            birth_date=birth_date or date.min,
            or_date=self.or_date(),
            procedure=procedure,
            procedure_code=code,
            plan=self.plan(),
            email=self.email(),
            phone=self.text(Column.PHONE),
            language=self.language(),
            case_number=self.number(Column.CASE_NUMBER),
            surgeon=self.text(Column.SURGEON),
            facility=self.text(Column.FACILITY),
            notices=tuple(self.notices),
        )
        return Unreadable(read.line, tuple(self.problems)) if self.problems else read

    def wrong(self, reason: Reason, column: Column, detail: str = "") -> None:
        self.problems.append(Problem(reason, self.table.heading(column), detail))

    def text(self, column: Column, *, needed: bool = False) -> str:
        """Return a cell without blanks around it; empty when it is missing or refused."""
        place = self.table.places.get(column)
        value = "" if place is None else self.record.cells[place].strip()
        if column in MAY_BREAK:
            value = BREAKS.sub(" ", value)
        if len(value) > LONGEST.get(column, LONGEST_OTHER):
            self.wrong(Reason.TOO_LONG, column, str(LONGEST.get(column, LONGEST_OTHER)))
            return ""
        if unwanted := UNWANTED.search(value):
            self.wrong(what_is_unwanted(unwanted[0]), column)
            return ""
        if needed and not value:
            self.wrong(Reason.MISSING, column)
        return value

    def number(self, column: Column, *, needed: bool = False) -> str:
        value = self.text(column, needed=needed)
        if SHORTENED_NUMBER.fullmatch(value):
            self.wrong(Reason.DAMAGED_NUMBER, column, value)
        return value

    def names(self) -> tuple[str, str]:
        """Return given and family names; a single name is a given name."""
        if {Column.GIVEN_NAMES, Column.FAMILY_NAMES} <= set(self.table.places):
            before = len(self.problems)
            given, family = self.text(Column.GIVEN_NAMES), self.text(Column.FAMILY_NAMES)
            if not given and not family and len(self.problems) == before:
                self.wrong(Reason.MISSING, Column.FAMILY_NAMES)
            return (given, family) if given else (family, "")
        whole = self.text(Column.FULL_NAME, needed=True)
        parts = [part.strip() for part in whole.split(",")]
        if len(parts) == 1 and len(whole.split()) <= 1:
            return whole, ""
        if len(parts) != 2 or not all(parts) or max(map(len, parts)) > 200:
            self.wrong(Reason.NAME_NOT_PARTED, Column.FULL_NAME)
            return "", ""
        return parts[1], parts[0]

    def day(self, column: Column, *, needed: bool) -> date | None:
        value = self.text(column, needed=needed)
        if not value:
            return None
        found = read_date(value, day_first=self.day_first)
        if isinstance(found, Reason):
            self.wrong(found, column, value)
            return None
        return found

    def birth_date(self) -> date | None:
        born = self.day(Column.BIRTH_DATE, needed=True)
        if born and born > self.on:
            self.wrong(Reason.BORN_IN_FUTURE, Column.BIRTH_DATE, born.isoformat())
        elif born and born.year < self.on.year - OLDEST_PATIENT:
            self.wrong(Reason.IMPOSSIBLE_YEAR, Column.BIRTH_DATE, born.isoformat())
        return born

    def or_date(self) -> date | None:
        planned = self.day(Column.OR_DATE, needed=False)
        if planned and not (
            self.on.year - SCHEDULE_BACK <= planned.year <= self.on.year + SCHEDULE_AHEAD
        ):
            self.wrong(Reason.IMPOSSIBLE_YEAR, Column.OR_DATE, planned.isoformat())
        return planned

    def procedure(self) -> tuple[str, str]:
        before = len(self.problems)
        name, code = self.text(Column.PROCEDURE), self.text(Column.PROCEDURE_CODE)
        if not name and not code and len(self.problems) == before:
            has_name = Column.PROCEDURE in self.table.places
            self.wrong(Reason.MISSING, Column.PROCEDURE if has_name else Column.PROCEDURE_CODE)
        return name, code

    def plan(self) -> Plan | None:
        word = self.text(Column.STATUS)
        if not word:
            return None
        plan = self.plans.get(written(word))
        if plan is None:
            self.wrong(Reason.STATUS_UNKNOWN, Column.STATUS, word)
        return plan

    def email(self) -> str:
        address = self.text(Column.EMAIL)
        if address and not EMAIL.fullmatch(address):
            self.wrong(Reason.EMAIL_UNREADABLE, Column.EMAIL, address)
        return address

    def language(self) -> str:
        word = self.text(Column.LANGUAGE)
        code = meant_by(word)
        if word and not code:
            self.notices.append(Said(Notice.LANGUAGE_NOT_OFFERED, word))
        return code


def what_is_unwanted(char: str) -> Reason:
    """Name what a character is that no field may hold."""
    if char == "\x00":
        return Reason.HAS_NUL
    if char in "\r\n\u2028\u2029":
        return Reason.LINE_BREAK
    if char == "\ufffd":
        return Reason.DAMAGED_LETTERS
    if char in "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069":
        return Reason.HIDDEN_DIRECTION
    return Reason.CONTROL_CHARACTER
