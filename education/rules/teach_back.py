"""Which points are asked in a teach-back, and may it end this way?

The method is that of the AHRQ Health Literacy Universal Precautions Toolkit, Tool 5 ("Use the
Teach-Back Method"): the patient says it in their own words, one point after the other; what did
not get across is explained another way and asked again. It tests the explanation, not the patient.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class TeachBackOutcome(StrEnum):
    """How it ended."""

    UNDERSTOOD = "understood"
    NOT_YET = "not_yet"
    NEEDS_VISIT = "needs_visit"


class Objection(StrEnum):
    """Why it cannot end this way."""

    NOTHING_SAID = "nothing_said"  # understood, and not one point has what the patient said
    SAFETY_NOT_UNDERSTOOD = "safety_not_understood"  # of a point
    SAID_MISSING = "said_missing"  # of a point: understood, without what was said
    NO_NEXT_DATE = "no_next_date"
    DATE_OVER = "date_over"


@dataclass(frozen=True)
class PointTold:
    """One point as it was gone through; `understood` None: it was not."""

    key: str
    safety_critical: bool
    said: str = ""
    understood: bool | None = None


@dataclass(frozen=True)
class Objected:
    """An objection, and the key of the point that it is about, if it is about one."""

    objection: Objection
    key: str = ""


def keys_to_ask(
    missed: Sequence[str], safety_critical: Sequence[str], every: Sequence[str]
) -> tuple[str, ...]:
    """Return the keys of the questions to go through, in the order given.

    What the patient missed; without anything missed, all safety-critical points; in a module that
    has none, everything it asks.
    """
    return tuple(missed or safety_critical or every)


def objections(
    points: Iterable[PointTold], outcome: TeachBackOutcome, *, next_on: date | None, on: date
) -> tuple[Objected, ...]:
    """Return what stands against ending a teach-back this way on the day `on`; nothing if it may.

    Understood: each safety-critical point was understood by itself, and whatever was understood
    has what the patient said, for it is the evidence. Not yet: a day to go on, `next_on`. No day
    that is over.
    """
    found: list[Objected] = []
    listed = list(points)
    if outcome == TeachBackOutcome.UNDERSTOOD:
        for point in listed:
            if point.safety_critical and not point.understood:
                found.append(Objected(Objection.SAFETY_NOT_UNDERSTOOD, point.key))
            elif point.understood and not point.said.strip():
                found.append(Objected(Objection.SAID_MISSING, point.key))
        if not found and not any(point.understood for point in listed):
            found.append(Objected(Objection.NOTHING_SAID))
    if outcome == TeachBackOutcome.NOT_YET and next_on is None:
        found.append(Objected(Objection.NO_NEXT_DATE))
    if next_on is not None and next_on < on:
        found.append(Objected(Objection.DATE_OVER))
    return tuple(found)
