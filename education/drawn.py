"""The questions that an attempt asks: of each question the version that was drawn."""

from collections.abc import Iterable
from decimal import Decimal
from itertools import groupby

from education.models import Attempt, Edition, Question
from education.rules.drawing import Draw, version_drawn
from education.rules.scoring import CHOICES, Key, Kind


def asked_of(attempt: Attempt) -> list[Question]:
    """Return the questions that an attempt asks, in quiz order, with their options and section."""
    return drawn_of(attempt.edition, attempt.draw)


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
    kind = Kind(question.kind)
    options = list(question.options.all())
    return Key(
        question_id=question.pk,
        kind=kind,
        safety_critical=question.safety_critical,
        right_options=frozenset(o.pk for o in options if o.right and kind in CHOICES),
        number=question.number or Decimal(0),
        tolerance=question.tolerance or Decimal(0),
        order=tuple(o.pk for o in options) if kind == Kind.ORDER else (),
        pairs=frozenset((o.pk, o.pk) for o in options if kind == Kind.MATCH),
    )
