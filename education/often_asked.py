""" "People often ask": write an entry of a module, change it, archive it; read what was shown."""

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction

from education.models import Module, OftenAsked, OftenAskedWords, PatientQuestion
from education.rules.often_asked import Row, Shown, Words, shown_at


class ChangedMeanwhile(Exception):
    """Somebody else changed the entry after the page was shown."""


def write(
    module: Module,
    question: Words,
    answer: Words,
    *,
    at: datetime,
    by_id: int,
    came_from: PatientQuestion | None = None,
) -> OftenAsked:
    """Make an entry, and show it to patients from now on."""
    with transaction.atomic():
        entry = OftenAsked.objects.create(
            module=module, came_from=came_from, recorded_at=at, by_id=by_id
        )
        _say(entry, question, answer, number=1, shown=True, at=at, by_id=by_id)
    return entry


def change(
    entry: OftenAsked,
    question: Words,
    answer: Words,
    *,
    shown: bool,
    seen: int,
    at: datetime,
    by_id: int,
) -> OftenAskedWords:
    """Let an entry say something else, archive it, or show it again; earlier words are kept.

    `seen`: the number of the words that the page showed. Raises ChangedMeanwhile when there are
    later ones.
    """
    with transaction.atomic():
        OftenAsked.objects.select_for_update().get(pk=entry.pk)
        latest = words_of(entry)
        if latest.number != seen:
            raise ChangedMeanwhile
        if (latest.question, latest.answer, latest.shown) == (question, answer, shown):
            return latest
        return _say(entry, question, answer, number=seen + 1, shown=shown, at=at, by_id=by_id)


def words_of(entry: OftenAsked) -> OftenAskedWords:
    """Return what an entry says now."""
    return entry.words.order_by("-number")[0]


def rows(words: Iterable[OftenAskedWords]) -> list[Row]:
    """Return rows as the rule takes them."""
    return [
        Row(one.entry_id, one.question, one.answer, one.shown, one.recorded_at) for one in words
    ]


def seen_by_patients(module_id: int, language: str, *, at: datetime) -> tuple[Shown, ...]:
    """Return what the module's page shows, or showed, to a reader of a language."""
    words = OftenAskedWords.objects.filter(entry__module=module_id).order_by("entry", "number")
    return shown_at(rows(words), language=language, at=at)


def _say(
    entry: OftenAsked,
    question: Words,
    answer: Words,
    *,
    number: int,
    shown: bool,
    at: datetime,
    by_id: int,
) -> OftenAskedWords:
    return OftenAskedWords.objects.create(
        entry=entry,
        number=number,
        question=dict(question),
        answer=dict(answer),
        shown=shown,
        recorded_at=at,
        by_id=by_id,
    )
