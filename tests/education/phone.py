"""A patient's phone: a browser with its own cookies, opened at a personal link."""

from dataclasses import dataclass, field
from typing import Any

from django.test import Client

from education.answer_form import answering
from education.answers_in_words import right_answer
from education.models import Attempt, Invitation, Submission
from education.rules.scoring import Given
from education.shown import ShownQuestion, questions

NAME_AND_BIRTH = {
    "given_names": "Odalys",
    "family_names": "Trent",
    "day": "23",
    "month": "August",
    "year": "1971",
}


@dataclass
class Phone:
    """What a patient can do with a link; each method returns the response."""

    invitation: Invitation
    token: str
    client: Client = field(default_factory=Client)

    @property
    def link(self) -> str:
        return f"/q/{self.token}/"

    def open(self, page: str = "", **extra: Any) -> Any:
        return self.client.get(self.link + page, **extra)

    def send(self, page: str = "", **form: Any) -> Any:
        return self.client.post(self.link + page, form)

    def begin(self) -> Any:
        return self.send(begin="yes")

    def answer(self, number: int, given: Given | None = None, **form: Any) -> Any:
        """Answer question `number`; right, unless something else is given."""
        attempt, asked = self.asked()
        question = asked[number - 1]
        given = given or right_answer(question.record)
        sent = as_sent(question, given)
        return self.send(f"{number}/", attempt=str(attempt.number), **sent, **form)

    def answer_all(self) -> None:
        attempt, asked = self.asked()
        for number, question in enumerate(asked, start=1):
            sent = as_sent(question, right_answer(question.record))
            answered = self.send(f"{number}/", attempt=str(attempt.number), **sent)
            assert answered.status_code == 303

    def asked(self) -> tuple[Attempt, list[ShownQuestion]]:
        """Return the latest attempt behind the link, and the questions that it asks."""
        attempt = self.invitation.attempts.order_by("number").last()
        assert attempt is not None
        return attempt, questions(attempt, attempt.edition.languages[0])

    def type_name(self, **other: str) -> Any:
        return self.send("you/", **(NAME_AND_BIRTH | other))

    def hand_in(self, attempt: int = 1) -> Any:
        return self.send("check/", attempt=str(attempt), hand_in="yes")

    def take_quiz(self, attempt: int = 1, **typed: str) -> Submission:
        """Go the whole way with right answers."""
        self.begin()
        self.answer_all()
        self.type_name(**typed)
        assert self.hand_in(attempt)["Location"] == f"{self.link}result/"
        return Submission.objects.get(attempt__invitation=self.invitation, attempt__number=attempt)


def as_sent(question: ShownQuestion, given: Given) -> dict[str, Any]:
    """Return an answer as a form sends it."""
    fields = answering(question, given)
    if fields.lines:
        return {line.field: line.chosen for line in fields.lines}
    return {"answer": fields.typed or [str(option) for option in sorted(fields.chosen)]}


def words(response: Any) -> str:
    """Return the page as text."""
    return str(response.content.decode())
