"""Publishing: an edition is whole, numbered, and never changes."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from education.drawn import answer_key, every_version
from education.models import Edition, Module, Option, Question, Section
from education.publish import publish
from education.rules.module_text import read_module
from education.rules.scoring import CHOICES, Kind
from tests.education.short_module import a_short_edition, short_module
from tests.factories import BEFORE, STARTER

pytestmark = pytest.mark.django_db

AT = datetime(2026, 3, 2, 15, tzinfo=UTC)


def test_a_module_text_is_published_word_for_word() -> None:
    text = read_module((STARTER / BEFORE).read_text())
    edition = publish(text, at=AT)
    assert (edition.module.code, edition.number) == (text.code, 1)
    assert (edition.title, edition.languages) == (dict(text.title), ["en", "es"])
    assert edition.pass_mark == text.pass_mark
    for part, section in zip(text.sections, edition.sections.all(), strict=True):
        assert (section.key, section.body) == (part.key, dict(part.body))
        assert section.ask_yourself == dict(part.ask_yourself or {})
        assert section.sources == part.sources
    versions = [version for written in text.questions for version in written.every_version]
    assert len(versions) > len(text.questions)
    for written, question in zip(versions, edition.questions.all(), strict=True):
        assert (question.key, question.stem) == (written.key, dict(written.stem))
        assert question.section.key == written.section
        assert question.safety_critical is written.safety_critical
        options = [(o.key, o.text, o.right) for o in question.options.all()]
        assert options == [(o.key, dict(o.text), o.right) for o in written.options]


def test_the_key_is_the_published_one() -> None:
    text = read_module((STARTER / BEFORE).read_text())
    keys = [answer_key(question) for question in every_version(publish(text, at=AT))]
    versions = [version for written in text.questions for version in written.every_version]
    assert [key.kind for key in keys] == [written.kind for written in versions]
    named = dict(Option.objects.values_list("pk", "key"))
    for key, written in zip(keys, versions, strict=True):
        if written.kind in CHOICES:
            right = {named[pk] for pk in key.right_options}
            assert right == {option.key for option in written.options if option.right}
        elif written.kind == Kind.ORDER:
            in_order = sorted(written.options, key=lambda item: item.place or 0)
            assert [named[pk] for pk in key.order] == [item.key for item in in_order]
        elif written.kind == Kind.MATCH:
            pairs = {(named[one], named[other]) for one, other in key.pairs}
            assert pairs == {(pair.key, pair.key) for pair in written.options}
        if key.kind == Kind.NUMBER:
            assert (key.number, key.tolerance) == (written.answer, written.tolerance)


def test_editions_are_numbered_within_their_module() -> None:
    numbers = [a_short_edition(at=AT).number for _ in range(3)]
    assert numbers == [1, 2, 3]
    assert a_short_edition(at=AT, text=short_module("home")).number == 1
    assert Module.objects.count() == 2


def test_an_earlier_edition_stays_as_it_was() -> None:
    first = a_short_edition(at=AT)
    a_short_edition(at=AT, text=short_module(pass_mark=100, questions=2))
    again = Edition.objects.get(pk=first.pk)
    assert (again.pass_mark, again.questions.count()) == (80, 5)


def test_half_an_edition_is_never_published(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*args: object, **kwargs: object) -> None:
        raise RuntimeError

    monkeypatch.setattr(Option.objects, "bulk_create", refuse)
    with pytest.raises(RuntimeError):
        a_short_edition(at=AT)
    for model in (Module, Edition, Section, Question, Option):
        assert not model._default_manager.exists()


@pytest.mark.parametrize(
    "changed",
    [
        {"kind": Kind.NUMBER},
        {"kind": Kind.ONE, "number": Decimal(1), "tolerance": Decimal(0)},
        {"kind": Kind.NUMBER, "number": Decimal(1), "tolerance": Decimal(-1)},
        {"kind": "essay"},
        {"kind": Kind.ONE, "key": "q0"},
    ],
    ids=["a number without one", "a choice with one", "negative tolerance", "kind", "key twice"],
)
def test_the_database_refuses_a_question_that_could_not_be_scored(
    changed: dict[str, object],
) -> None:
    edition = a_short_edition(at=AT)
    usual = {"key": "q9", "position": 9, "stem": {}, "explanation": {}}
    with pytest.raises(IntegrityError), transaction.atomic():
        Question.objects.create(
            edition=edition, section=edition.sections.get(), **{**usual, **changed}
        )


@pytest.mark.parametrize("pass_mark", [0, 101])
def test_the_database_refuses_a_pass_mark_that_is_no_per_cent(pass_mark: int) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        a_short_edition(at=AT, text=short_module(pass_mark=pass_mark))
