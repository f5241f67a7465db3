"""Questions in the demo: one that waits, one that was answered, one that others ask too.

Look at TF-30107 for the open one, at TF-30108 for an answer in Spanish, and at TF-30109 for the one
that became an entry of “People often ask”.
"""

import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from clinic.demo.events import BEFORE, Event
from clinic.demo.people import Person
from clinic.demo.stage import Stage, invitation
from education.answer import AnswerRefusal, answer
from education.ask import ask
from education.models import PatientQuestion
from education.often_asked import write
from education.rules.asking import About, AskFault, Means
from education.send import send


@dataclass(frozen=True)
class AskedUs:
    """The patient asked from a page of the module, or from the result."""

    days_ago: int
    about: About
    part: str
    language: str
    text: str
    hour: ClassVar[int] = 20

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        link = invitation(mrn, BEFORE)
        edition = link.assignment.module.editions.latest("number")
        asked = ask(
            link,
            edition,
            about=self.about,
            part=self.part,
            language=self.language,
            typed=self.text,
            key=uuid.uuid5(uuid.NAMESPACE_OID, f"{mrn} {self.text}"),
            at=at,
        )
        if isinstance(asked, AskFault):
            raise ValueError(f"{mrn} could not ask: {asked}")


@dataclass(frozen=True)
class Answered:
    """The dietitian answered by email; `entry`: and wrote what everybody may read, by language."""

    days_ago: int
    text: str
    entry: tuple[dict[str, str], dict[str, str]] | None = None
    hour: ClassVar[int] = 9

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        question = PatientQuestion.objects.filter(invitation=invitation(mrn, BEFORE)).latest("pk")
        given = answer(question, Means.EMAIL, self.text, seen=0, at=at, by_id=stage.dietitian)
        if isinstance(given, AnswerRefusal):
            raise ValueError(f"{mrn} cannot be answered: {given}")
        send(given.link.message_id, at=at)
        if self.entry:
            said, told = self.entry
            module = question.edition.module
            write(module, said, told, came_from=question, at=at, by_id=stage.dietitian)


QUESTIONS: dict[str, tuple[Event, ...]] = {
    "TF-30107": (
        AskedUs(
            1,
            About.SECTION,
            "drinks",
            "en",
            "I work nights and sleep until three. When does a day of the diet begin for me?",
        ),
    ),
    "TF-30108": (
        AskedUs(
            5,
            About.QUESTION,
            "bottles",
            "es",
            "No entiendo lo de las botellas. ¿Puedo tomar el batido en dos veces, mitad y mitad?",
        ),
        Answered(
            4,
            "Sí, puede tomarlo en dos veces. Guarde la otra mitad en el refrigerador y tómela el "
            "mismo día.\n\nCuente las botellas del día entero, no cada vez que toma.",
        ),
    ),
    "TF-30109": (
        AskedUs(
            8,
            About.MODULE,
            "",
            "en",
            "My sister brings a big birthday cake on Sunday. Is one small bite really so bad?",
        ),
        Answered(
            7,
            "It is hard to say no to a cake. Even a small bite of solid food can matter in these "
            "weeks.\n\nAsk her to freeze a piece for you, and have something you like to drink "
            "with them.",
            (
                {"en": "What can I do at a party?"},
                {
                    "en": "Tell one person beforehand what you are doing, and why.\n\nTake a drink "
                    "with you that your plan allows. Hold it in your hand: people offer less.",
                },
            ),
        ),
    ),
}


def question_events(person: Person) -> tuple[Event, ...]:
    """Return what a patient asked, and what became of it."""
    return QUESTIONS.get(person.mrn, ())
