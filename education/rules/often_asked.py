"""Which "people often ask" entries did a patient see on a module's page at an instant?

An entry stands beside the editions: each change of it is a row, and the latest row before the
instant is what was shown. Nothing of it is scored.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

MAX_QUESTION = 300  # characters
MAX_ANSWER = 2_000

Words = Mapping[str, str]


@dataclass(frozen=True)
class Row:
    """What an entry said from `since` on; not `shown`: it was in the archive."""

    entry: int
    question: Words
    answer: Words
    shown: bool
    since: datetime


@dataclass(frozen=True)
class Shown:
    """An entry as a patient reads it."""

    entry: int
    question: str
    answer: str


@dataclass(frozen=True)
class Span:
    """From when until when an entry said something; `until` is None while it does."""

    row: Row
    until: datetime | None


def complete_in(row: Row, language: str) -> bool:
    """Whether an entry has both its question and its answer in a language."""
    words = (row.question.get(language, ""), row.answer.get(language, ""))
    return all(text.strip() for text in words)


def shown_at(rows: Iterable[Row], *, language: str, at: datetime) -> tuple[Shown, ...]:
    """Return what a reader of a language saw at an instant, the oldest entry first.

    An entry that is not written in that language is not shown in it: half a page in another
    language helps nobody. Staff see it listed as not translated.
    """
    latest: dict[int, Row] = {}
    for row in rows:
        if row.since <= at and (row.entry not in latest or row.since >= latest[row.entry].since):
            latest[row.entry] = row
    return tuple(
        Shown(entry, row.question[language].strip(), row.answer[language].strip())
        for entry, row in sorted(latest.items())
        if row.shown and complete_in(row, language)
    )


def spans(rows: Iterable[Row]) -> tuple[Span, ...]:
    """Return the rows of one entry in their order, each with the instant that ended it."""
    ordered = sorted(rows, key=lambda row: row.since)
    ends = [row.since for row in ordered[1:]]
    return tuple(map(Span, ordered, [*ends, None]))
