"""How a published module reads, marked in words; the Clear Communication Index, kept nowhere."""

import pytest
from django.test import Client
from django.urls import reverse

from clinic.models import Role
from education.rules.clear_communication import Answer
from patients import programme
from patients.clock import now
from tests.factories import a_member, a_programme, an_edition, signed_in

pytestmark = pytest.mark.django_db

LONG = "Sip " + "and sip " * 10 + "again."
HARD = f"""
code = "hard"
pass_mark = 80
title = {{en = "Hard", es = "Difícil"}}
[[section]]
key = "why"
heading = {{en = "Why", es = "Por qué"}}
body = {{en = "Your anticoagulant administration necessitates evaluation. {LONG} <b>It</b> is.", es = "La administración preoperatoria de anticoagulantes requiere hospitalización y evaluación farmacológica especializada, individualizada, interdisciplinaria, sistemáticamente documentada, supervisada, autorizada y correspondientemente planificada."}}
[[question]]
key = "q"
kind = "true_false"
safety_critical = false
section = "why"
stem = {{en = "Sip it.", es = "Beba poco."}}
explanation = {{en = "So.", es = "Así."}}
option = [
  {{key = "true", text = {{en = "True", es = "Verdadero"}}, right = true}},
  {{key = "false", text = {{en = "False", es = "Falso"}}, right = false}},
]
"""  # noqa: E501


@pytest.fixture
def reader() -> Client:
    a_programme()
    an_edition(HARD)
    return signed_in(Role.DIETITIAN)


def test_long_sentences_and_hard_words_are_marked_in_words(reader: Client) -> None:
    text = reader.get(reverse("how-it-reads", args=["hard"])).content.decode()
    assert f'<span class="long">{LONG}</span> <span class="count" lang="en">(22 words)' in text
    assert '<span class="hard-word">anticoagulant</span>' in text
    assert "Hard words: " in text
    assert ">anticoagulant</span> (6 syllables)" in text
    assert "1 sentence is longer than 20 words" in text
    assert "SMOG: not with fewer than 30 sentences" in text
    assert "&lt;b&gt;It&lt;/b&gt;" in text
    assert "the programme asks for 6" in text


def test_the_goal_is_the_programmes(reader: Client) -> None:
    programme.change(at=now(), by_id=a_member(Role.ADMINISTRATOR).pk, reading_grade=12)
    text = reader.get(reverse("how-it-reads", args=["hard"])).content.decode()
    assert "Within the goal" in text
    assert "the programme asks for 12" in text


def test_spanish_has_scores_of_its_own(reader: Client) -> None:
    text = reader.get(reverse("how-it-reads", args=["hard"]), {"language": "es"}).content.decode()
    assert "Harder than it should be: “very hard” on the INFLESZ scale." in text
    assert "Fernández Huerta" in text
    assert "Flesch" not in text


@pytest.mark.parametrize(
    ("no", "left_out", "said"),
    [
        (2, 0, "The index is 90.0: 18 of the 20 items that apply. 90 and more passes."),
        (2, 1, "The index is 89.5: 17 of the 19 items that apply. 90 is needed to pass"),
    ],
)
def test_the_index_is_computed_from_the_address(
    reader: Client, no: int, left_out: int, said: str
) -> None:
    """Standards row EDU-3: 18/20 passes, 17/19 does not."""
    answers = {f"item_{n}": Answer.YES.value for n in range(1, 21)}
    answers |= {f"item_{n}": Answer.NO.value for n in range(1, no + 1)}
    answers |= {f"item_{21 - n}": Answer.DOES_NOT_APPLY.value for n in range(1, left_out + 1)}
    text = reader.get(reverse("clear-communication", args=["hard"]), answers).content.decode()
    assert said in text
    assert "1. Is there one main message?" in text


def test_an_item_left_open_is_said_beside_it(reader: Client) -> None:
    answers = {f"item_{n}": Answer.YES.value for n in range(1, 20)}
    page = reader.get(reverse("clear-communication", args=["hard"]), answers | {"ask": "1"})
    assert page.status_code == 400
    assert page.content.decode().count("Answer this one too.") == 2
    answers |= {"item_20": Answer.YES.value, "item_1": Answer.DOES_NOT_APPLY.value}
    page = reader.get(reverse("clear-communication", args=["hard"]), answers)
    assert page.status_code == 400
