"""Remember how schedules are read: which column is which, and what the words in them mean.

Said once by a member of staff on the import's page; from then on every file with the same headings
is read so, on the page and by the command. What the names of procedures in messages mean is said on
the intake's page, for each sender.
"""

from collections.abc import Collection, Mapping
from datetime import datetime
from typing import Any

from patients.models import Procedure, ScheduleReading, latest_first
from patients.rules.schedule_columns import Column
from patients.rules.schedule_procedures import Meant
from patients.rules.schedule_reading import OF_A_SENDER, Place, place_of, sender_key, written
from patients.rules.schedule_rows import PLANS, Plan, ScheduleRow, words_of
from patients.rules.schedule_table import Outline, Table

NOT_OURS = "Set aside by itself: this member of staff said before that it is not one of ours."


def in_force(keys: set[str], *, known_at: datetime | None = None) -> dict[str, ScheduleReading]:
    """Return the latest reading of each key, now or before a past instant."""
    rows = ScheduleReading.objects.filter(key__in=keys).select_related("by")
    if known_at is not None:
        rows = rows.filter(recorded_at__lte=known_at)
    latest: dict[str, ScheduleReading] = {}
    for row in rows.order_by(*latest_first()):
        latest.setdefault(row.key, row)
    return latest


def columns_of(reading: ScheduleReading) -> dict[Column, Place]:
    """Return where each of our columns stands."""
    return {Column(column): (name, nth) for column, (name, nth) in reading.columns.items()}


def choose_columns(
    shown: Outline, columns: Mapping[int, Column], *, at: datetime, by_id: int
) -> ScheduleReading:
    """Say what the columns of a file are, by their number from 0. What words mean stays as said."""
    places = {column: place_of(shown.headings, number) for number, column in columns.items()}
    before = in_force({shown.key}).get(shown.key)
    return _write(shown.key, shown.headings, places, before, at=at, by_id=by_id)


def say_words(
    table: Table,
    *,
    plans: Mapping[str, Plan],
    procedures: Mapping[str, int | None],
    unsaid: Collection[str],
    day_first: bool | None,
    at: datetime,
    by_id: int,
) -> ScheduleReading:
    """Say what words of a file mean, and how its dates are read; the columns stay as they are.

    The words are in the form of `patients.rules.schedule_reading.written`; `unsaid` are those of
    which nothing is said any more. What was said of other words stays.
    """
    places = {column: place_of(table.headings, n) for column, n in table.places.items()}
    before = in_force({table.key}).get(table.key)
    return _write(
        table.key,
        table.headings,
        places,
        before,
        at=at,
        by_id=by_id,
        plans=_without(before.plans if before else {}, unsaid) | dict(plans),
        procedures=_without(before.procedures if before else {}, unsaid) | dict(procedures),
        day_first=day_first,
    )


def words_in(table: Table, said: ScheduleReading | None) -> tuple[list[str], list[str]]:
    """Return the words of the status column and the names of procedures that may need saying.

    Those that nobody knows come first, then by how many rows have them. Of procedures only those
    that the programme's own names and codes do not tell.
    """
    plans = {**PLANS, **(said.plans if said else {})}
    meant = said.procedures if said else {}
    statuses = words_of(table, Column.STATUS)
    ours = {
        written(text) for pair in Procedure.objects.values_list("code", "name") for text in pair
    }
    names = words_of(table, Column.PROCEDURE, Column.PROCEDURE_CODE)
    return (
        sorted(statuses, key=lambda word: (written(word) in plans, -statuses[word], word)),
        sorted(
            (word for word in names if written(word) not in ours),
            key=lambda word: (written(word) in meant, -names[word], word),
        ),
    )


def senders() -> list[ScheduleReading]:
    """Return what is said of each sender's words now; `headings` are the format and the sender."""
    rows = ScheduleReading.objects.filter(key__startswith=OF_A_SENDER).select_related("by")
    latest: dict[str, ScheduleReading] = {}
    for row in rows.order_by(*latest_first()):
        latest.setdefault(row.key, row)
    return sorted((one for one in latest.values() if one.procedures), key=lambda one: one.headings)


def of_senders() -> dict[str, Meant]:
    """Return what was said of each sender's names of procedures, by the sender's key."""
    return {one.key: one.procedures for one in senders()}


def words_of_row(row: ScheduleRow) -> tuple[str, ...]:
    """Return the words by which a message names its procedure, as they are remembered."""
    return tuple(dict.fromkeys(written(w) for w in (row.procedure, row.procedure_code) if w))


def say_of_sender(
    format: str,
    sender: str,
    *,
    words: Mapping[str, int | None],
    unsaid: Collection[str] = (),
    at: datetime,
    by_id: int,
) -> ScheduleReading:
    """Say what names of procedures mean in one sender's messages; None: not one of ours."""
    key = sender_key(format, sender)
    before = in_force({key}).get(key)
    said = _without(before.procedures if before else {}, unsaid) | dict(words)
    return _write(key, (format, sender), {}, before, at=at, by_id=by_id, procedures=said)


def not_ours(format: str, sender: str, words: Collection[str]) -> ScheduleReading | None:
    """Return by which row somebody said that one of these words is no procedure of ours."""
    said = None
    key = sender_key(format, sender)
    for row in ScheduleReading.objects.filter(key=key).order_by(*latest_first()):
        if not any(row.procedures.get(word, 0) is None for word in words):
            break
        said = row
    return said


def _without(words: Mapping[str, Any], unsaid: Collection[str]) -> dict[str, Any]:
    return {word: meaning for word, meaning in words.items() if word not in unsaid}


def _write(
    key: str,
    headings: tuple[str, ...],
    places: Mapping[Column, Place],
    before: ScheduleReading | None,
    *,
    at: datetime,
    by_id: int,
    **words: Any,
) -> ScheduleReading:
    facts: dict[str, Any] = {"plans": {}, "procedures": {}, "day_first": None}
    if before:
        facts = {name: getattr(before, name) for name in facts}
    return ScheduleReading.objects.create(
        key=key,
        headings=list(headings),
        columns={str(column): list(place) for column, place in places.items()},
        recorded_at=at,
        by_id=by_id,
        **facts | words,
    )
