"""The questions that an attempt asks: of each question the version that was drawn."""

from collections.abc import Iterable
from decimal import Decimal
from itertools import groupby
from typing import Any, NamedTuple

from django.db.models import BigIntegerField, QuerySet

from education.models import Attempt, Edition, Question
from education.rules.drawing import Draw, version_drawn
from education.rules.scoring import CHOICES, Key, Kind
from patients.prepared import Given, prepared


def asked_of(attempt: Attempt) -> list[Question]:
    """Return the questions that an attempt asks, in quiz order, with their options and section."""
    return drawn_of(attempt.edition, attempt.draw)


def keys_of(attempt: Attempt) -> dict[str, Key]:
    """Return what is right for the questions that an attempt asks, by their keys, in quiz order.

    As `answer_key` of each question of `asked_of`, in one query that reads no text.
    """
    keys = {}
    rows = [_Answer(*row) for row in _answers(edition=attempt.edition_id)]
    for _, group in groupby(rows, key=lambda row: row.position):
        versions = [list(each) for _, each in groupby(group, key=lambda row: row.pk)]
        first = versions[0][0]
        drawn = versions[version_drawn(attempt.draw, first.key, len(versions))]
        options = [(row.option, bool(row.right)) for row in drawn if row.option]
        keys[first.key] = _key(drawn[0], options)
    return keys


class _Answer(NamedTuple):
    """A question with one of its options, or alone if it has none."""

    pk: int
    position: int
    key: str
    kind: str
    safety_critical: bool
    number: Decimal | None
    tolerance: Decimal | None
    option: int | None
    right: bool | None


@prepared
def _answers() -> "QuerySet[Question, Any]":
    edition = Question.objects.filter(edition=Given("edition", BigIntegerField()))
    return edition.order_by("position", "version", "options__position").values_list(
        "pk",
        "position",
        "key",
        "kind",
        "safety_critical",
        "number",
        "tolerance",
        "options__pk",
        "options__right",
    )


def drawn_of(edition: Edition, draw: Draw) -> list[Question]:
    """Return the versions of an edition's questions that a draw gives."""
    by_question = groupby(every_version(edition), key=lambda version: version.position)
    drawn = []
    for _, group in by_question:
        versions = list(group)
        drawn.append(versions[version_drawn(draw, versions[0].key, len(versions))])
    return drawn


def every_version(edition: Edition) -> Iterable[Question]:
    """Return all versions of all questions of an edition, with their options and section."""
    return edition.questions.select_related("section").prefetch_related("options")


def answer_key(question: Question) -> Key:
    """Return what is right for a question."""
    return _key(question, [(option.pk, option.right) for option in question.options.all()])


def _key(question: Question | _Answer, options: list[tuple[int, bool]]) -> Key:
    """Return what is right: `options` are ids in the order that is right, and whether to choose."""
    kind = Kind(question.kind)
    return Key(
        question_id=question.pk,
        kind=kind,
        safety_critical=question.safety_critical,
        right_options=frozenset(pk for pk, right in options if right and kind in CHOICES),
        number=question.number or Decimal(0),
        tolerance=question.tolerance or Decimal(0),
        order=tuple(pk for pk, _right in options) if kind == Kind.ORDER else (),
        pairs=frozenset((pk, pk) for pk, _right in options if kind == Kind.MATCH),
    )
