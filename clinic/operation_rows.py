"""Operations with their answers, ready to be shown: in the list, on a page, printed."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby

from clinic import answer_words, words
from clinic.confirm import OperationAnswer, answers
from clinic.models import Confirmation, StaffUser
from clinic.second_opinions import first_clinicians
from clinic.unsettled import CannotTell, Unsettled, accepted, holds, latest_confirmations
from education.rules.confirm import HoldReason, Word
from education.rules.standing import Standing
from education.standings import Told
from education.titles import titles
from patients.models import Booking, Operation


@dataclass(frozen=True)
class Line:
    """One module that the operation needs, as the page shows it.

    `first_clinician` accepted what waits for a second one; None: nothing waits.
    """

    title: str
    told: Told
    standing: str
    why: str
    holding: bool
    first_clinician: StaffUser | None


@dataclass(frozen=True)
class Row:
    """One operation with its answer, as the pages show it."""

    given: OperationAnswer
    lines: tuple[Line, ...]
    confirmation: Confirmation | None

    @property
    def operation(self) -> Operation:
        """The operation itself."""
        return self.given.operation

    @property
    def word(self) -> str:
        """The one word."""
        return answer_words.WORDS[self.given.verdict.word]

    @property
    def booking(self) -> str:
        """The booking in words."""
        return words.BOOKING[Booking(self.operation.booking)]

    @property
    def holding(self) -> list[Line]:
        """The modules that stand against confirming."""
        return [line for line in self.lines if line.holding]

    @property
    def before(self) -> list[Line]:
        """The modules that the answer rests on."""
        return [line for line in self.lines if line.told.assignment.due_before_operation]

    @property
    def afterwards(self) -> list[Line]:
        """The modules that are due only after the operation."""
        return [line for line in self.lines if not line.told.assignment.due_before_operation]

    @property
    def reasons(self) -> list[str]:
        """Why it holds, apart from the modules."""
        return [
            answer_words.HOLD_REASONS[reason]
            for reason in self.given.verdict.reasons
            if reason != HoldReason.NOT_CLEARED
        ]

    @property
    def against_hold(self) -> bool:
        """Whether it stands confirmed although the answer was hold."""
        confirmed = self.operation.booking == Booking.CONFIRMED and self.confirmation
        return bool(
            confirmed and confirmed.against_hold and confirmed.or_date == self.operation.or_date
        )

    @property
    def stands(self) -> bool:
        """Whether this very date is confirmed, with nothing new against it."""
        return (
            self.operation.booking == Booking.CONFIRMED
            and self.confirmation is not None
            and self.confirmation.or_date == self.operation.or_date
            and holds(self.given) <= accepted(self.confirmation)
        )


@dataclass(frozen=True)
class UnsettledRow:
    """What changed under a confirmation, with the row that shows what it is now."""

    change: str
    row: Row


@dataclass(frozen=True)
class Day:
    """The operations of one day."""

    day: date | None
    rows: list[Row]

    @property
    def says(self) -> str:
        """How many there are of each answer: 3 confirm, 1 hold."""
        counted = Counter(row.given.verdict.word for row in self.rows)
        return ", ".join(
            f"{counted[word]} {answer_words.WORDS[word].lower()}" for word in Word if counted[word]
        )


def by_day(rows: Iterable[Row]) -> list[Day]:
    """Group rows that are in the order of their dates."""
    return [Day(day, list(some)) for day, some in groupby(rows, lambda row: row.operation.or_date)]


def rows_of(given: list[OperationAnswer]) -> list[Row]:
    """Make the answers ready to be shown, in a few queries however many there are."""
    confirmations = latest_confirmations([one.operation for one in given])
    names = titles(told.assignment.module_id for one in given for told in one.told)
    firsts = first_clinicians(told for one in given for told in one.told)
    return [
        Row(
            one,
            tuple(_line(told, names, firsts, one) for told in one.told),
            confirmations.get(one.operation.pk),
        )
        for one in given
    ]


def _line(
    told: Told, names: dict[int, str], firsts: dict[int, StaffUser], given: OperationAnswer
) -> Line:
    return Line(
        title=names.get(told.assignment.module_id, told.assignment.module.code),
        told=told,
        standing=words.STANDING[Standing(told.answer.standing)],
        why=answer_words.reasons(told.answer, told),
        holding=told.assignment.pk in given.verdict.holding,
        first_clinician=firsts.get(told.assignment.pk),
    )


def rows_with_answers(listed: list[Operation], *, at: datetime) -> list[Row]:
    """Answer for each operation. Raises CannotTell when a fact could not be read."""
    given = answers(listed, at=at)
    if any(one.verdict.word == Word.CANNOT_TELL for one in given):
        raise CannotTell
    return rows_of(given)


def unsettled_rows(found: list[Unsettled]) -> list[UnsettledRow]:
    """Make what changed under confirmations ready to be shown."""
    rows = rows_of([one.given for one in found])
    return [
        UnsettledRow(answer_words.CHANGES[one.change], row)
        for one, row in zip(found, rows, strict=True)
    ]
