"""Changing the language loses nothing that was typed or chosen, on any page with a form."""

import re
from typing import Any

import pytest

from education.shown import ShownQuestion, questions
from education.take import answers_given
from education.views.half_made import COOKIE
from tests.education.every_kind import EVERY_KIND
from tests.education.phone import Phone, words
from tests.factories import a_plan_link, an_assignment, an_edition, an_invitation, an_operation

pytestmark = pytest.mark.django_db


@pytest.fixture
def phone() -> Phone:
    module = an_edition(EVERY_KIND).module
    return Phone(*an_invitation(assignment=an_assignment(module=module)))


def half(question: ShownQuestion) -> dict[str, Any]:
    """What somebody has filled in who is not done: one line, one option, a number in words."""
    if question.is_number:
        return {"answer": "about 8 o"}
    if question.is_order or question.is_match:
        return {"answer-2": "1"}
    return {"answer": str(question.options[-1].id)}


def shown_again(page: str, fields: dict[str, Any]) -> bool:
    """Whether a page has these values in its fields."""
    return all(
        re.search(
            rf'name="{name}"[^>]*value="{value}"[^>]* checked'
            rf'|name="{name}"[^>]*value="{value}"'
            rf'|<select[^>]*name="{name}".*?value="{value}" selected',
            page,
            re.DOTALL,
        )
        for name, value in fields.items()
    )


def test_every_kind_of_question_keeps_what_was_chosen(phone: Phone) -> None:
    phone.begin()
    attempt = phone.invitation.attempts.get()
    for number, question in enumerate(questions(attempt, "en"), start=1):
        there = "es" if number % 2 else "en"
        filled = half(question)
        page = words(phone.open(f"{number}/"))
        assert 'formaction="' in page
        assert 'form="work"' in page
        sent = phone.send(
            "language/", here=f"{number}/", language=there, attempt=str(attempt.number), **filled
        )
        assert (sent.status_code, sent["Location"]) == (303, f"{phone.link}{number}/")
        again = phone.open(f"{number}/")
        assert again["Content-Language"] == there
        assert shown_again(words(again), filled), question.stem
        assert not again.cookies  # promise W4
        assert "role='alert'" not in words(again)
    assert answers_given(attempt) == {}  # nothing was taken for an answer
    # On the way to the question box and back it waits too, and an answer ends the waiting.
    key = questions(attempt, "en")[0].record.key
    first = half(questions(attempt, "en")[0])
    sent = phone.send("language/", here="1/", go=f"ask/?about=q-{key}", attempt="1", **first)
    assert sent["Location"].startswith(f"{phone.link}ask/?about=q-{key}")
    assert shown_again(words(phone.open("1/")), first)
    phone.answer(1)
    assert phone.client.cookies[COOKIE].value == ""


def test_the_name_and_the_question_box_keep_what_was_typed(phone: Phone) -> None:
    phone.begin()
    phone.answer_all()
    typed = {"given_names": "Odalys", "day": "31", "month": "agos", "year": "19"}
    phone.send("language/", here="you/", language="es", **typed)
    page = words(phone.open("you/"))
    assert 'lang="es"' in page
    assert shown_again(page, typed)
    text = "¿Puedo caminar? " * 62  # nearly all that fits
    phone.send("language/", here="ask/?about=s-how", language="en", question=text, key="x" * 36)
    page = phone.open("ask/?about=s-how")
    assert page["Content-Language"] == "en"
    assert text.strip() in words(page)
    # A page of somebody else's is not where it leads.
    assert phone.send("language/", here="//evil.example/")["Location"] == phone.link


def test_the_days_of_solid_meals_keep_what_was_ticked() -> None:
    link, token = a_plan_link(an_operation())
    client = Phone(None, token).client  # type: ignore[arg-type]
    page = words(client.get(f"/q/{token}/plan/meals/?l=en"))
    [or_date] = re.findall(r'name="or_date" value="([^"]+)"', page)
    days = re.findall(r'name="day" value="([^"]+)"', page)
    form = {"or_date": or_date, "day": days[1:3], "language": "es"}
    sent = client.post(f"/q/{token}/plan/meals/", form)
    assert sent["Location"].endswith("plan/meals/?l=es")
    page = words(client.get(sent["Location"]))
    assert re.findall(r'name="day" value="([^"]+)" type="checkbox" checked', page) == days[1:3]
    assert link.operation.eating_choices.count() == 0
