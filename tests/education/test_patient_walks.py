"""However a patient wanders, taps twice or changes the device: no answer lost, no attempt extra."""

import os
import random
import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connections
from django.test import Client

from education.answers_in_words import right_answer
from education.drawn import drawn_of
from education.models import (
    Attempt,
    Clearance,
    DraftAnswer,
    IdentityDecision,
    Submission,
    SubmissionAnswer,
)
from education.rules.drawing import Draw
from education.rules.module_text import read_module
from education.rules.scoring import Given
from education.shown import ShownQuestion, questions, shown_question
from education.take import answers_given
from tests.education.phone import Phone, as_sent, words
from tests.factories import PLAIN, a_wrong_answer, an_edition, an_invitation, right_answers

# The promise's 200 take minutes: WALKS=200.
WALKS = int(os.environ.get("WALKS", "20"))
STEPS = 9
FINISHED = 4  # every fourth walk is brought to its end


# --- W2: random walks ------------------------------------------------------------------------


class Walker:
    """Somebody with two devices and one link, who goes forward, back, refreshes and submits.

    `given` is what they know they answered; the draft must never differ from it.
    """

    def __init__(self, seed: int) -> None:
        self.chance = random.Random(seed)
        self.phones = [Phone(*an_invitation())]
        self.phones.append(Phone(self.phones[0].invitation, self.phones[0].token))
        self.invitation = self.phones[0].invitation
        self.edition = self.invitation.assignment.module.editions.get()
        self.right = right_answers(self.edition)
        self.given: dict[int, Given] = {}
        self.seen: list[str] = [""]  # the pages behind the back button
        self.begun = self.handed_in = False

    def step(self) -> None:
        often = [self.forward, self.answer] * 2
        seldom = [self.back, self.refresh, self.begin, self.empty, self.send_again]
        act = self.chance.choice([*often, *seldom, self.type_name, self.hand_in])
        response = act(self.chance.choice(self.phones))
        assert response.status_code < 500
        if response.status_code == 303 and self.chance.random() < 0.5:
            followed = self.chance.choice(self.phones).client.get(response["Location"])
            assert followed.status_code in {200, 303}
        assert response.status_code in {200, 303, 422}  # a POST that did its work answers 303

    @property
    def questions(self) -> list[ShownQuestion]:
        """What this attempt asks; before there is one, what it is going to ask."""
        attempt = self.invitation.attempts.first()
        draw = attempt.draw if attempt else Draw(str(self.invitation.assignment_id), 0)
        asked = drawn_of(self.edition, draw)
        return [
            shown_question(record, "en", number=number, total=len(asked), draw=draw)
            for number, record in enumerate(asked, start=1)
        ]

    def begin(self, phone: Phone) -> Any:
        self.begun = True
        return phone.begin()

    def forward(self, phone: Phone) -> Any:
        page = self.chance.choice(
            ["", "you/", "check/", "result/", *map("{}/".format, range(1, 8))]
        )
        self.seen.append(page)
        return phone.open(page)

    def back(self, phone: Phone) -> Any:
        if len(self.seen) > 1:
            self.seen.pop()
        return phone.open(self.seen[-1])

    def refresh(self, phone: Phone) -> Any:
        return phone.open(self.seen[-1])

    def answer(self, phone: Phone) -> Any:
        asked = self.chance.choice(self.questions)
        number, question = asked.number, asked.record
        given = self.chance.choice([self.right[question.pk], a_wrong_answer(question)])
        self.seen.append(f"{number}/")
        if self.begun and not self.handed_in:
            self.given[question.pk] = given
        sent = {"attempt": "1", **as_sent(asked, given)}
        self.last = (f"{number}/", sent, question.pk, given)
        return phone.send(self.last[0], **self.last[1])

    last: tuple[str, dict[str, Any], int, Given] | None = None

    def send_again(self, phone: Phone) -> Any:
        """A double tap, or a refresh that sends the form once more."""
        if self.last is None:
            return self.refresh(phone)
        if self.begun and not self.handed_in:
            self.given[self.last[2]] = self.last[3]
        return phone.send(self.last[0], **self.last[1])

    def empty(self, phone: Phone) -> Any:
        return phone.send(f"{self.chance.randint(1, 7)}/", attempt="1")

    def type_name(self, phone: Phone) -> Any:
        return phone.type_name()

    def hand_in(self, phone: Phone) -> Any:
        response = phone.hand_in()
        if response.status_code == 303 and response["Location"].endswith("/result/"):
            self.handed_in = self.begun
        return response


@pytest.mark.django_db
@pytest.mark.parametrize("seeds", [range(start, start + 20) for start in range(0, WALKS, 20)])
def test_w2_random_walks_lose_no_answer_and_make_no_extra_attempt(seeds: range) -> None:
    an_edition()
    for seed in seeds:
        walker = Walker(seed)
        for _ in range(STEPS):
            walker.step()
            attempts = list(Attempt.objects.filter(invitation=walker.invitation))
            assert len(attempts) == walker.begun, seed
            if attempts:
                assert answers_given(attempts[0]) == walker.given, seed
        if seed % FINISHED == 0:
            finish(walker)


def finish(walker: Walker) -> None:
    """Bring a walk to its end on a third device: what was answered counts, once."""
    phone = Phone(walker.invitation, walker.phones[0].token)
    if not walker.handed_in:
        phone.begin()
        for asked in walker.questions:
            if asked.record.pk not in walker.given:
                walker.given[asked.record.pk] = walker.right[asked.record.pk]
                phone.answer(asked.number)
        phone.type_name()
        assert phone.hand_in()["Location"] == f"{phone.link}result/"
    submission = Submission.objects.get(attempt__invitation=walker.invitation)
    stored = submission.answers.select_related("question")
    assert {a.question_id: a.right for a in stored} == {
        pk: given == walker.right[pk] for pk, given in walker.given.items()
    }


@pytest.mark.django_db
def test_fault_7_another_device_tomorrow_goes_on_at_each_question() -> None:
    phone = Phone(*an_invitation())
    phone.begin()
    for number in range(1, 8):
        fresh = Phone(phone.invitation, phone.token)
        assert f"question {number} of 7" in words(fresh.open()) or number == 1
        assert fresh.begin()["Location"] == f"{phone.link}{number}/"
        assert fresh.answer(number).status_code == 303
    assert DraftAnswer.objects.count() == 7
    assert Attempt.objects.count() == 1


@pytest.mark.django_db
def test_fault_5_a_form_of_an_earlier_attempt_changes_nothing_in_the_next() -> None:
    phone = Phone(*an_invitation())
    phone.begin()
    asked = questions(phone.invitation.attempts.get(), "en")
    for question in asked:
        phone.answer(question.number, a_wrong_answer(question.record))
    phone.type_name()
    phone.hand_in()
    phone.begin()
    old_tab = {"attempt": "1", **as_sent(asked[0], right_answer(asked[0].record))}
    assert phone.send("1/", **old_tab)["Location"] == phone.link
    assert not answers_given(Attempt.objects.get(number=2))
    phone.answer_all()
    phone.type_name()
    assert phone.hand_in(attempt=1)["Location"] == phone.link  # a late second tap
    assert Submission.objects.count() == 1
    assert phone.hand_in(attempt=2)["Location"] == f"{phone.link}result/"


@pytest.mark.django_db
def test_fault_5_after_handing_in_every_page_leads_to_the_result() -> None:
    phone = Phone(*an_invitation())
    phone.take_quiz()
    for page in ("1/", "7/", "you/", "check/"):
        assert phone.open(page)["Location"] == f"{phone.link}result/"
    assert phone.answer(1)["Location"] == f"{phone.link}result/"
    assert phone.hand_in()["Location"] == f"{phone.link}result/"
    assert Submission.objects.count() == 1


@pytest.mark.django_db
def test_c6_a_quiz_edited_halfway_stays_on_its_edition_and_is_scored_with_its_key() -> None:
    """Fault 12: the new edition has other words, and another number is right."""
    phone = Phone(*an_invitation())
    phone.begin()
    for number in (1, 2, 3):
        phone.answer(number)
    first = phone.invitation.assignment.module.editions.get()
    text = (PLAIN / "before_your_operation.toml").read_text()
    edited = text.replace('answer = "4"', 'answer = "5"').replace("A friend asks", "A cousin asks")
    assert read_module(edited) != read_module(text)
    an_edition(edited)
    page = words(phone.open("1/"))
    assert "A friend asks" in page
    phone.answer_all()
    phone.type_name()
    phone.hand_in()
    submission = Submission.objects.get()
    assert submission.edition == first
    assert submission.right == 7
    result = words(phone.open("result/"))
    assert "A friend asks" in result
    assert "A cousin asks" not in result


# --- W3: fifty equal forms at once ---------------------------------------------------------------


def at_once(count: int, act: Callable[[int], Any]) -> list[Any]:
    """Run an act in many threads that start together; return what came of each."""
    together = threading.Barrier(count)
    outcomes: list[Any] = [None] * count

    def run(place: int) -> None:
        together.wait()
        try:
            outcomes[place] = act(place)
        except Exception as raised:  # shown by the assertion
            outcomes[place] = raised
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=(place,)) for place in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return outcomes


@pytest.mark.django_db(transaction=True)
def test_w3_fifty_equal_final_posts_make_one_submission_and_fifty_equal_outcomes() -> None:
    """Fault 4: a double tap, many times over."""
    phone = Phone(*an_invitation())
    patient = phone.invitation.assignment.operation.patient
    phone.begin()
    phone.answer_all()
    phone.type_name(
        given_names=patient.given_names,
        family_names=patient.family_names,
        day=str(patient.birth_date.day),
        month=str(patient.birth_date.month),
        year=str(patient.birth_date.year),
    )
    typed = phone.client.cookies["typed"].value

    def hand_in(place: int) -> tuple[int, str]:
        client = Client()
        client.cookies["typed"] = typed
        response = client.post(f"{phone.link}check/", {"attempt": "1", "hand_in": "yes"})
        return response.status_code, response["Location"]

    assert set(at_once(50, hand_in)) == {(303, f"{phone.link}result/")}
    assert Submission.objects.count() == 1
    assert SubmissionAnswer.objects.count() == 7
    assert IdentityDecision.objects.count() == 1
    assert Clearance.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_w3_fifty_equal_beginnings_make_one_attempt() -> None:
    phone = Phone(*an_invitation())

    def begin(place: int) -> tuple[int, str]:
        response = Client().post(phone.link, {"begin": "yes"})
        return response.status_code, response["Location"]

    assert set(at_once(50, begin)) == {(303, f"{phone.link}1/")}
    assert Attempt.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_w3_twenty_equal_answers_at_once_are_one_answer() -> None:
    phone = Phone(*an_invitation())
    phone.begin()
    question = questions(phone.invitation.attempts.get(), "en")[0]
    sent = {"attempt": "1", **as_sent(question, right_answer(question.record))}

    def answer(place: int) -> tuple[int, str]:
        response = Client().post(f"{phone.link}1/", sent)
        return response.status_code, response["Location"]

    assert set(at_once(20, answer)) == {(303, f"{phone.link}2/")}
    assert DraftAnswer.objects.count() == 1
