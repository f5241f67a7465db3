"""What is said on the phone in the demo: teach-backs, and a call that was logged wrongly."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import ClassVar

from clinic.demo.stage import Stage, assignment, patient
from education import teach_back
from education.models import Assignment
from education.rules.teach_back import TeachBackOutcome
from education.teach_back import Said, points_of
from patients.contact import Instead, correct_contact, log_contact
from patients.models import Means, Outcome

BEFORE = "before-operation"


@dataclass(frozen=True)
class SaidItBack:
    """The patient said every point in their own words, and is cleared on it."""

    days_ago: int
    note: str
    module: str = BEFORE
    hour: ClassVar[int] = 11

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        asked = assignment(mrn, self.module)
        said = {point.question.key: Said(self.note, True) for point in points_of(asked)}
        _taught_back(asked, TeachBackOutcome.UNDERSTOOD, said, stage, at=at)


@dataclass(frozen=True)
class NotYet:
    """What was said is not enough yet; they go on `next_in` days from today."""

    days_ago: int
    first: str
    rest: str
    next_in: int
    note: str = ""
    hour: ClassVar[int] = 11

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        asked = assignment(mrn, BEFORE)
        first, *others = points_of(asked)
        said = {first.question.key: Said(self.first, False)}
        said |= {other.question.key: Said(self.rest, False) for other in others}
        next_on = stage.day(self.next_in)
        _taught_back(
            asked, TeachBackOutcome.NOT_YET, said, stage, next_on=next_on, note=self.note, at=at
        )


@dataclass(frozen=True)
class NeedsVisit:
    """On the phone it did not get across: the patient comes in, `next_in` days from today."""

    days_ago: int
    said: str
    next_in: int
    note: str = ""
    hour: ClassVar[int] = 11

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        asked = assignment(mrn, BEFORE)
        said = {point.question.key: Said(self.said, False) for point in points_of(asked)[:2]}
        next_on = stage.day(self.next_in)
        _taught_back(
            asked, TeachBackOutcome.NEEDS_VISIT, said, stage, next_on=next_on, note=self.note, at=at
        )


@dataclass(frozen=True)
class LoggedWrongly:
    """The dietitian logged the patient as reached, and corrected it an hour later."""

    days_ago: int
    reason: str
    hour: ClassVar[int] = 10

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        contact = log_contact(
            patient(mrn), means=Means.CALL, outcome=Outcome.REACHED, at=at, by_id=stage.dietitian
        )
        correct_contact(
            contact,
            instead=Instead(Means.CALL, Outcome.NO_ANSWER),
            reason=self.reason,
            at=stage.instant(self.days_ago, self.hour + 1),
            by_id=stage.dietitian,
        )


def _taught_back(
    asked: Assignment,
    outcome: TeachBackOutcome,
    said: dict[str, Said],
    stage: Stage,
    *,
    next_on: date | None = None,
    note: str = "",
    at: datetime,
) -> None:
    teach_back.record(
        asked,
        outcome=outcome,
        means=Means.CALL,
        said=said,
        next_on=next_on,
        note=note,
        at=at,
        by_id=stage.dietitian,
    )
