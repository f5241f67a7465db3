"""Can the facts of a message stand on record?  The checks that every format shares.

What an operation cannot do without (who it is about, its date) is a problem when it is wrong; any
other fact that is wrong is left out, and a warning says so.
"""

from dataclasses import dataclass, field
from datetime import date

from patients.rules.languages import meant_by
from patients.rules.message_reading import Frame, Noted, Warn
from patients.rules.schedule_columns import Column
from patients.rules.schedule_dates import EARLIEST_YEAR
from patients.rules.schedule_names import in_one_case, readable
from patients.rules.schedule_reasons import Notice, Problem, Reason, Said
from patients.rules.schedule_rows import (
    EMAIL,
    LONGEST,
    LONGEST_OTHER,
    OLDEST_PATIENT,
    SCHEDULE_AHEAD,
    SCHEDULE_BACK,
    UNWANTED,
    Plan,
    ScheduleRow,
    Unreadable,
    what_is_unwanted,
)


@dataclass
class MessageRow:
    """A row in the making: give it the facts with the place where each stands, then ask `row`."""

    frame: Frame
    problems: list[Problem] = field(default_factory=list)
    notices: list[Said] = field(default_factory=list)
    warnings: list[Noted] = field(default_factory=list)
    mrn: str = ""
    given_names: str = ""
    family_names: str = ""
    one_case: bool = False
    born: date | None = None
    or_date: date | None = None
    procedure: tuple[str, str] = ("", "")

    def wrong(self, reason: Reason, where: str, detail: str = "") -> None:
        """Say why the message cannot be read."""
        self.problems.append(Problem(reason, where, detail))

    def needed(self, column: Column, where: str, value: str) -> str:
        """Return a fact that must be there and right."""
        refused = _refused(column, value)
        if refused:
            self.wrong(refused, where, str(LONGEST.get(column, LONGEST_OTHER)))
            return ""
        if not value.strip():
            self.wrong(Reason.MISSING, where)
        return value.strip()

    def optional(self, column: Column, where: str, value: str) -> str:
        """Return a fact, or nothing and a warning when it cannot stand on record."""
        value = value.strip()
        refused = _refused(column, value)
        if not refused and column == Column.EMAIL and value and not EMAIL.fullmatch(value):
            refused = Reason.EMAIL_UNREADABLE
        if refused:
            self.warnings.append(Noted(Warn.NOT_TAKEN, where, refused))
            return ""
        return value

    def names(self, where: str, given: str, family: str) -> None:
        """Take the patient's name; a single name is a given name."""
        given, family = (given, family) if given.strip() else (family, "")
        given = self.needed(Column.GIVEN_NAMES, where, given)
        if family:
            family = self.needed(Column.FAMILY_NAMES, where, family)
        self.one_case = in_one_case(f"{given} {family}")
        if self.one_case and (given, family) != (names := (readable(given), readable(family))):
            given, family = names
            self.notices.append(Said(Notice.NAME_RECASED, f"{given} {family}".strip()))
        self.given_names, self.family_names = given, family

    def birth_date(self, where: str, born: date) -> None:
        """Take the date of birth."""
        if born > self.frame.on:
            self.wrong(Reason.BORN_IN_FUTURE, where, born.isoformat())
        elif born.year < self.frame.on.year - OLDEST_PATIENT:
            self.wrong(Reason.IMPOSSIBLE_YEAR, where, born.isoformat())
        self.born = born

    def may_be_or_date(self, where: str, day: date) -> bool:
        """Say whether an operation can be on a day; if not, that is a problem."""
        year = self.frame.on.year
        if year - SCHEDULE_BACK <= day.year <= year + SCHEDULE_AHEAD and day.year >= EARLIEST_YEAR:
            return True
        self.wrong(Reason.IMPOSSIBLE_YEAR, where, day.isoformat())
        return False

    def language(self, word: str) -> str:
        """Return the code of a language that there are materials in."""
        code = meant_by(word)
        if word.strip() and not code:
            self.notices.append(Said(Notice.LANGUAGE_NOT_OFFERED, word.strip()[:LONGEST_OTHER]))
        return code

    def row(
        self,
        *,
        plan: Plan | None,
        case_number: str,
        email: str = "",
        phone: str = "",
        language: str = "",
        surgeon: str = "",
        facility: str = "",
    ) -> ScheduleRow | Unreadable:
        """Return the row, or every problem. Without a date it leaves the one on record alone."""
        if self.problems:
            return Unreadable(self.frame.line, tuple(self.problems))
        return ScheduleRow(
            line=self.frame.line,
            mrn=self.mrn,
            given_names=self.given_names,
            family_names=self.family_names,
            in_one_case=self.one_case,
            birth_date=self.born or date.min,
            or_date=self.or_date,
            procedure=self.procedure[0],
            procedure_code=self.procedure[1],
            plan=plan,
            email=email,
            phone=phone,
            language=language,
            case_number=case_number,
            surgeon=surgeon,
            facility=facility,
            keeps_date=self.or_date is None,
            notices=tuple(self.notices),
        )


def _refused(column: Column, value: str) -> Reason | None:
    if len(value) > LONGEST.get(column, LONGEST_OTHER):
        return Reason.TOO_LONG
    unwanted = UNWANTED.search(value)
    return what_is_unwanted(unwanted[0]) if unwanted else None
