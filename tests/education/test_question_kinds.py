"""Each kind of question from the page to the result, to the staff and to the next attempt."""

import re
from copy import deepcopy
from html import unescape
from typing import Any

import pytest

from clinic.call_sheet import lines
from education.answer_form import answering
from education.answers_in_words import in_words, right_answer
from education.drawn import answer_key, asked_of, keys_of
from education.models import Attempt, DraftAnswer, Submission, SubmissionAnswer
from education.rules.scoring import Given
from education.rules.standing import Reason
from education.shown import ShownQuestion, questions
from education.standings import standing_of
from education.teach_back import points_of
from patients.clock import local_date, now
from tests.education.every_kind import EVERY_KIND, KINDS
from tests.education.phone import Phone, words
from tests.factories import a_programme, a_wrong_answer, an_assignment, an_edition, an_invitation

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("begun")]


@pytest.fixture(scope="module")
def begun(kept_open: None) -> Phone:
    assignment = an_assignment(module=an_edition(EVERY_KIND).module)
    begun = Phone(*an_invitation(assignment=assignment))
    begun.begin()
    return begun


@pytest.fixture
def phone(begun: Phone) -> Phone:
    return Phone(deepcopy(begun.invitation), begun.token)


def attempt_of(phone: Phone) -> Attempt:
    attempt = phone.invitation.attempts.order_by("number").last()
    assert attempt is not None
    return attempt


def question_of(phone: Phone, kind: str) -> ShownQuestion:
    return questions(attempt_of(phone), "en")[KINDS.index(kind)]


def page_of(phone: Phone, kind: str) -> str:
    return unescape(words(phone.open(f"{KINDS.index(kind) + 1}/")))


def hand_in(phone: Phone, *, wrong: tuple[str, ...] = ()) -> Submission:
    """Answer all, the named kinds wrong, and hand in."""
    for number, kind in enumerate(KINDS, start=1):
        question = question_of(phone, kind).record
        given = a_wrong_answer(question) if kind in wrong else right_answer(question)
        assert phone.answer(number, given).status_code == 303
    patient = phone.invitation.assignment.operation.patient
    born = patient.birth_date
    phone.type_name(
        given_names=patient.given_names,
        family_names=patient.family_names,
        day=str(born.day),
        month=str(born.month),
        year=str(born.year),
    )
    phone.hand_in(attempt_of(phone).number)
    return attempt_of(phone).submission


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_is_asked_kept_checked_and_told(phone: Phone, kind: str) -> None:
    number = KINDS.index(kind) + 1
    page = page_of(phone, kind)
    question = question_of(phone, kind)
    assert page.count("<h1>") == page.count('class="main"') == 1
    assert question.stem in page
    for option in question.options:
        assert option.text in page
        assert option.match in page
    for field in re.findall(r'<(?:select|input id)="?[^>]*', page):
        assert "style=" not in field

    wrong = a_wrong_answer(question.record)
    assert phone.answer(number, wrong).status_code == 303
    assert DraftAnswer.objects.count() == 1
    kept = answering(question, wrong)
    shown_again = page_of(phone, kind)
    assert shown_again.count(" checked") + shown_again.count(" selected") == (
        0 if kind == "number" else len(kept.lines) or len(kept.chosen)
    )
    assert (f'value="{kept.typed}"' in shown_again) is (kind == "number") or not kept.typed

    submission = hand_in(phone, wrong=(kind,))
    answer = submission.answers.get(question=question.record)
    assert (answer.right, submission.right) == (False, len(KINDS) - 1)
    result = unescape(words(phone.open("result/")))
    for line in (*in_words(question.record, wrong, "en"), *question.right_in_words()):
        assert line in result
    assert question.explanation in result
    assert f"#{question.section}" in result
    assert "What happens next" in result


SENT_BACK: list[tuple[str, dict[str, str], list[str]]] = [
    ("order", {}, ["answer-1", "answer-2", "answer-3"]),
    ("order", {"answer-1": "2", "answer-3": "1"}, ["answer-2"]),
    ("order", {"answer-1": "1", "answer-2": "1", "answer-3": "2"}, ["answer-1", "answer-2"]),
    ("match", {}, ["answer-1", "answer-2", "answer-3"]),
    ("match", {"answer-1": "2", "answer-2": "2"}, ["answer-1", "answer-2", "answer-3"]),
]


@pytest.mark.parametrize("kind, sent, fields", SENT_BACK)
def test_what_is_missing_or_taken_twice_is_said_at_its_field_and_the_rest_is_kept(
    phone: Phone, kind: str, sent: dict[str, str], fields: list[str]
) -> None:
    response = phone.send(f"{KINDS.index(kind) + 1}/", attempt="1", **sent)
    page = words(response)
    assert response.status_code == 422
    assert re.findall(r'<a href="#(answer-\d)">', page) == fields
    assert re.findall(r'id="(answer-\d)-error"', page) == fields
    assert all(f'id="{field}"' in page for field in fields)
    assert page.count(" checked") + page.count(" selected") == len(sent)
    assert not DraftAnswer.objects.exists()


@pytest.mark.parametrize("kind", ["order", "match"])
@pytest.mark.parametrize("value", ["0", "4", "x", "9" * 5000])
def test_what_no_page_of_ours_sends_is_refused(phone: Phone, kind: str, value: str) -> None:
    sent = {"answer-1": value, "answer-2": "2", "answer-3": "3"}
    assert phone.send(f"{KINDS.index(kind) + 1}/", attempt="1", **sent).status_code == 404
    assert not DraftAnswer.objects.exists()


@pytest.mark.parametrize(
    "typed, kept", [("64", "64"), ("1,9 L", "64.247"), ("8 tazas", "64"), ("64,0 onzas", "64")]
)
def test_a_number_in_another_unit_is_shown_in_the_questions_own(
    phone: Phone, typed: str, kept: str
) -> None:
    assert phone.send("4/", attempt="1", answer=typed).status_code == 303
    assert f'value="{kept}"' in page_of(phone, "number")


def test_nothing_on_the_page_tells_the_order_or_the_pairs(phone: Phone) -> None:
    """Neither the order of the lines, nor a value, nor a record's number."""
    for kind in ("order", "match"):
        question = question_of(phone, kind)
        page = page_of(phone, kind)
        for option in question.record.options.all():
            assert not re.search(rf'(?:value|id|name)="[^"]*\b{option.pk}\b', page) or option.pk < 4
    order = question_of(phone, "order")
    assert [item.id for item in order.options] != list(right_answer(order.record).order)
    match = question_of(phone, "match")
    assert [pair.id for pair in match.matches] != [pair.id for pair in match.options]


def test_the_page_is_the_same_however_often_it_is_opened(phone: Phone) -> None:
    for number in range(1, len(KINDS) + 1):
        assert words(phone.open(f"{number}/")) == words(phone.open(f"{number}/"))


def test_a_retake_asks_another_version_where_there_is_one(phone: Phone) -> None:
    first = {question.key: question.version for question in asked_of(attempt_of(phone))}
    hand_in(phone, wrong=("one",))
    phone.begin()
    again = {question.key: question.version for question in asked_of(attempt_of(phone))}
    assert {key for key in first if first[key] != again[key]} == {"one", "match"}


def test_it_is_scored_by_the_keys_of_the_versions_that_it_asks(phone: Phone) -> None:
    for _ in range(2):
        attempt = attempt_of(phone)
        asked = {question.key: answer_key(question) for question in asked_of(attempt)}
        assert list(keys_of(attempt).items()) == list(asked.items())
        hand_in(phone, wrong=("one",))
        phone.begin()


def test_what_goes_on_behind_a_new_link_asks_the_same_versions(phone: Phone) -> None:
    phone.answer(1)
    asked = asked_of(attempt_of(phone))
    fresh = Phone(*an_invitation(assignment=phone.invitation.assignment))
    assert fresh.begin()["Location"] == f"{fresh.link}2/"
    assert asked_of(attempt_of(fresh)) == asked


def test_a_safety_critical_question_missed_in_two_versions_ends_in_a_call(phone: Phone) -> None:
    programme = a_programme(attempts_allowed=5)
    for _ in range(2):
        assert not hand_in(phone, wrong=("match",)).passed
        phone.begin()
    missed = SubmissionAnswer.objects.filter(right=False).values_list("question__key", flat=True)
    assert list(missed) == ["match", "match"]
    assert SubmissionAnswer.objects.filter(right=False).values("question").distinct().count() == 2
    assert "Someone from the programme will call you" in words(phone.open("result/"))
    assignment = phone.invitation.assignment
    told = standing_of(assignment, on=local_date(now(), programme.zone))
    assert Reason.NEEDS_TEACH_BACK in told.answer.reasons
    (point,) = lines(points_of(assignment), language="es")
    assert point.times == 2
    assert point.right == "; ".join(in_words(point.question, right_answer(point.question), "en"))


def test_a_question_of_another_version_is_not_scored(phone: Phone) -> None:
    """A saved answer to what this attempt does not ask counts nothing."""
    attempt = attempt_of(phone)
    asked = {question.pk for question in asked_of(attempt)}
    foreign = attempt.edition.questions.exclude(pk__in=asked)[0]
    attempt.drafts.create(question=foreign, given={"options": []}, recorded_at=now())
    submission = hand_in(phone)
    assert (submission.right, submission.total) == (len(KINDS), len(KINDS))
    assert not submission.answers.filter(question=foreign).exists()


def test_the_lesson_asks_the_reader_something(phone: Phone) -> None:
    lesson = words(phone.open())
    assert "Ask yourself" in lesson
    assert "When do I drink?" in lesson


def test_answers_come_back_from_their_record_as_they_were_given(phone: Phone) -> None:
    hand_in(phone)
    given: dict[str, Any] = {
        answer.question.key: answer.given for answer in SubmissionAnswer.objects.all()
    }
    assert {next(iter(stored)) for stored in given.values()} == {
        "options", "number", "order", "pairs",
    }  # fmt: skip
    assert Given() not in given.values()
