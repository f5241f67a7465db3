"""The words for what a changed requirement would do."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from clinic.day_words import day, short_day
from education.rules.requiring import Effect
from education.rules.window import Window
from patients.models import Operation


@dataclass(frozen=True)
class EffectWords:
    """One way in which operations are touched: how many, in words, and the first of them."""

    words: str
    first: list[Operation]
    more: int


EFFECT: Mapping[Effect, str] = {
    Effect.TOO_OLD: "would lose the clearance that counts now: it would be too old",
    Effect.LATE: "would turn late",
    Effect.NEEDS_SIGN_OFF: "would need a clinician’s sign-off",
    Effect.DUE: "would turn due",
    Effect.NOT_DUE: "would turn not due",
    Effect.CLEARED: "would turn cleared",
    Effect.NEWLY_ASKED: "would be asked for this module anew",
    Effect.NO_LONGER_ASKED: "would no longer be asked for this module",
}
NO_LONGER_CLEAR = "confirmed, and would no longer be clear: the answer would turn to hold"


def effect(what: Effect, operations: Sequence[Operation], *, on: date, most: int) -> EffectWords:
    """Return one effect in words, with the operations that come first from the day `on`."""
    return _words(EFFECT[what], operations, on=on, most=most)


def no_longer_clear(operations: Sequence[Operation], *, on: date, most: int) -> EffectWords:
    """Return the confirmed operations that would stop being clear."""
    return _words(NO_LONGER_CLEAR, operations, on=on, most=most)


def _words(words: str, operations: Sequence[Operation], *, on: date, most: int) -> EffectWords:
    count = len(operations)
    coming = [one for one in operations if one.or_date and one.or_date >= on]
    others = [one for one in operations if one not in coming]
    first = [*coming, *others][:most]
    return EffectWords(f"{count} {words}", first, count - len(first))


def example(or_date: date, window: Window) -> str:
    """Return the window of an example: for an operation on 14 May: opens 13 February, clear by ...

    The year is said where it is not the same for all three days.
    """
    days = (or_date, window.opens_on, window.clear_by)
    said = short_day if len({one.year for one in days}) == 1 else day
    operation, opens, clear_by = (said(one) for one in days)
    return f"For an operation on {operation}: opens {opens}, clear by {clear_by}."
