"""What happens in the demo on paper, on the shared screen of the waiting room, and by phone."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from clinic.demo.people import BY_MRN
from clinic.demo.stage import Stage, assignment, given
from education.drawn import asked_of
from education.enter import enter
from education.forms import Typed
from education.invite import Refusal
from education.models import EndedBecause, QuizCode
from education.other_ways import (
    ScreenRefusal,
    attempt_of,
    call,
    open_screen,
    print_sheet,
    trade,
)
from education.personal_link import end
from education.take import begin, save_answer, submit

BEFORE = "before-operation"


def _typed(mrn: str) -> Typed:
    person = BY_MRN[mrn]
    return Typed(person.given, person.family, person.birth_date)


@dataclass(frozen=True)
class PrintedSheet:
    """The dietitian printed the quiz and handed it to the patient."""

    days_ago: int
    module: str = BEFORE
    hour: ClassVar[int] = 9

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        made = print_sheet(
            assignment(mrn, self.module),
            language=BY_MRN[mrn].language,
            at=at,
            by_id=stage.dietitian,
        )
        if isinstance(made, Refusal):
            raise ValueError(f"no sheet for {mrn}: {made}")


@dataclass(frozen=True)
class SheetCameBack:
    """The sheet came back, and the dietitian typed what it said."""

    days_ago: int
    filled_in: int  # days before the demo's day
    wrong: tuple[str, ...] = ()
    module: str = BEFORE
    hour: ClassVar[int] = 11

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        code = QuizCode.objects.filter(invitation__assignment=assignment(mrn, self.module)).latest(
            "id"
        )
        attempt = attempt_of(code.invitation)
        enter(
            attempt,
            {question: given(question, self.wrong) for question in asked_of(attempt)},
            _typed(mrn),
            language=code.language,
            at=at,
            by_id=stage.dietitian,
            answered_on=stage.day(-self.filled_in),
        )


@dataclass(frozen=True)
class TookByPhone:
    """The dietitian read the quiz to the patient."""

    days_ago: int
    wrong: tuple[str, ...] = ()
    module: str = BEFORE
    hour: ClassVar[int] = 10

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        begun = call(assignment(mrn, self.module), at=at, by_id=stage.dietitian)
        if isinstance(begun, Refusal):
            raise ValueError(f"no call to {mrn}: {begun}")
        attempt = attempt_of(begun)
        enter(
            attempt,
            {question: given(question, self.wrong) for question in asked_of(attempt)},
            _typed(mrn),
            language=BY_MRN[mrn].language,
            at=at,
            by_id=stage.dietitian,
        )


@dataclass(frozen=True)
class TookOnScreen:
    """The patient took the quiz on the tablet of the waiting room."""

    days_ago: int
    wrong: tuple[str, ...] = ()
    module: str = BEFORE
    hour: ClassVar[int] = 14

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        language = BY_MRN[mrn].language
        made = open_screen(
            assignment(mrn, self.module), language=language, at=at, by_id=stage.dietitian
        )
        if isinstance(made, Refusal):
            raise ValueError(f"no screen for {mrn}: {made}")
        opened = trade(made.code, at=at)
        if isinstance(opened, ScreenRefusal):
            raise ValueError(f"no screen for {mrn}: {opened}")
        attempt = begin(made.invitation, at=at)
        for question in asked_of(attempt):
            save_answer(attempt, question, given(question, self.wrong), at=at)
        who = _typed(mrn)
        submit(
            attempt,
            given_names=who.given_names,
            family_names=who.family_names,
            birth_date=who.birth_date,
            language=language,
            at=at,
        )
        end(made.invitation, EndedBecause.DONE, at=at)
