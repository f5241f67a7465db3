"""On which days does each stage of an eating plan lie, and do the stages fit together?

Which day is day 1, said once for the whole project (standards 1.7): day 0 is the OR date, day -n
the n-th day before it, day 1 the day after it. A "14-day plan" before the operation is day -14 to
day -1. Both ends of a stage belong to it. "Midnight" is the local midnight at which a day begins:
nothing by mouth from midnight, on the operation's day, is from the last minute of day -1 on.
Discharge is the day on which the patient goes home: the OR date plus the nights in hospital. A day
is a calendar date, never an instant; no clock change moves it.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TypeVar

from education.rules.label import Limits
from patients.rules.languages import SOURCE_LANGUAGE

Texts = dict[str, str]  # language code to text
Lines = dict[str, tuple[str, ...]]  # language code to lines
_Said = TypeVar("_Said", str, tuple[str, ...])


def in_words(words: Mapping[str, _Said], language: str) -> _Said:
    """Return a text or lines in a language, or in English where it has none."""
    return words.get(language) or words[SOURCE_LANGUAGE]


class Anchor(StrEnum):
    """What the days of a stage are counted from."""

    OPERATION = "operation"
    DISCHARGE = "discharge"
    FIRST_VISIT = "first_visit"


@dataclass(frozen=True)
class Edge:
    """The first or last day of a stage: so many days after its anchor, negative before."""

    anchor: Anchor
    days: int


@dataclass(frozen=True)
class Stay:
    """How many nights in hospital, and how many days after the OR date the first visit is."""

    nights: int
    first_visit_days: int

    def offset(self, edge: Edge) -> int:
        """Return an edge in days from the OR date."""
        start = {
            Anchor.OPERATION: 0,
            Anchor.DISCHARGE: self.nights,
            Anchor.FIRST_VISIT: self.first_visit_days,
        }
        return start[edge.anchor] + edge.days


@dataclass(frozen=True)
class Meals:
    """Solid meals on days of the patient's choosing: how many, how far apart, until when.

    `apart`: days from one to the next at least; 2 leaves one day between. `last_days`: the last day
    on which one may be, in days from the OR date.
    """

    count: int
    apart: int
    last_days: int


@dataclass(frozen=True)
class Stage:
    """What is eaten and drunk from one day to another. Energy in kcal a day."""

    key: str
    name: Texts
    first: Edge
    last: Edge
    allowed: Lines
    avoided: Lines
    to_do: Lines
    supplements: int = 0
    meals: Meals | None = None
    meal: Texts = field(default_factory=dict)
    energy: tuple[int, int] | None = None
    limits: Limits = field(default_factory=Limits)
    nothing_by_mouth: bool = False
    counts_fluid: bool = True

    def span(self, stay: Stay) -> range:
        """Return its days from the OR date; empty when, for this stay, it has none."""
        return range(stay.offset(self.first), stay.offset(self.last) + 1)


class Flaw(StrEnum):
    NO_STAGES = "no_stages"
    OVERLAP = "overlap"
    GAP = "gap"
    BACKWARDS = "backwards"  # its last day is before its first, whatever the stay
    SAME_KEY = "same_key"
    MEALS_OUTSIDE = "meals_outside"  # the last day for a solid meal is not one of the stage's
    MEALS_DO_NOT_FIT = "meals_do_not_fit"  # so many, so far apart, are more than its days
    ENERGY_UNUSUAL = "energy_unusual"  # outside 800 to 1200 kcal (standards NUT-1): ask


# Worth a question to the dietitian, and no reason not to save.
WARNINGS = frozenset({Flaw.ENERGY_UNUSUAL})
USUAL_ENERGY = (800, 1200)


@dataclass(frozen=True)
class Finding:
    """What is wrong, with which stages (by key), on which days from the OR date, for which stay."""

    flaw: Flaw
    stages: tuple[str, ...] = ()
    first: int | None = None
    last: int | None = None
    stay: Stay | None = None


def findings(stages: Sequence[Stage], stays: Sequence[Stay]) -> tuple[Finding, ...]:
    """Return what is wrong with a table of stages, for every stay that the programme knows.

    A gap or overlap is told once, for the first stay that shows it.
    """
    if not stages:
        return (Finding(Flaw.NO_STAGES),)
    told: dict[tuple[Flaw, tuple[str, ...]], Finding] = {}
    for found in _each_stage(stages, stays):
        told.setdefault((found.flaw, found.stages), found)
    for stay in stays:
        for found in (*_overlaps(stages, stay), *_gaps(stages, stay)):
            told.setdefault((found.flaw, found.stages), found)
    return tuple(told.values())


def refusals(found: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return those for which a table must not be saved."""
    return tuple(one for one in found if one.flaw not in WARNINGS)


def stays(nights: range, visits: range) -> tuple[Stay, ...]:
    """Return every stay with so many nights and a first visit so many days after the OR date."""
    return tuple(Stay(n, v) for n in nights for v in visits)


def _each_stage(stages: Sequence[Stage], known: Sequence[Stay]) -> Iterator[Finding]:
    keys = [stage.key for stage in stages]
    for stage in stages:
        if keys.count(stage.key) > 1:
            yield Finding(Flaw.SAME_KEY, (stage.key,))
        # One day short is a stage that this stay does not have; it must have one for another.
        if all(not stage.span(stay) for stay in known) or any(
            stay.offset(stage.last) < stay.offset(stage.first) - 1 for stay in known
        ):
            yield Finding(Flaw.BACKWARDS, (stage.key,))
        if stage.energy and not (
            USUAL_ENERGY[0] <= stage.energy[0] <= stage.energy[1] <= USUAL_ENERGY[1]
        ):
            yield Finding(Flaw.ENERGY_UNUSUAL, (stage.key,))
        if stage.meals and known:
            days = stage.span(known[0])
            if stage.meals.last_days not in days:
                yield Finding(Flaw.MEALS_OUTSIDE, (stage.key,))
            elif (stage.meals.count - 1) * stage.meals.apart > stage.meals.last_days - days[0]:
                yield Finding(Flaw.MEALS_DO_NOT_FIT, (stage.key,))


def _overlaps(stages: Sequence[Stage], stay: Stay) -> Iterator[Finding]:
    for place, stage in enumerate(stages):
        for other in stages[place + 1 :]:
            both = _both(stage.span(stay), other.span(stay))
            if both:
                yield Finding(Flaw.OVERLAP, (stage.key, other.key), both[0], both[-1], stay)


def _gaps(stages: Sequence[Stage], stay: Stay) -> Iterator[Finding]:
    spans = sorted(
        ((stage.span(stay), stage.key) for stage in stages if stage.span(stay)),
        key=lambda one: (one[0][0], one[0][-1]),
    )
    if not spans:
        return
    until, before = spans[0][0][-1], spans[0][1]
    for days, key in spans[1:]:
        if days[0] > until + 1:
            yield Finding(Flaw.GAP, (before, key), until + 1, days[0] - 1, stay)
        if days[-1] > until:
            until, before = days[-1], key


def _both(one: range, other: range) -> range:
    return range(max(one.start, other.start), min(one.stop, other.stop))


def days_needed_before(stages: Sequence[Stage], stay: Stay) -> int:
    """Return how many days before the OR date the first stage begins; 0 for none."""
    first = min((days[0] for days in (s.span(stay) for s in stages) if days), default=0)
    return max(0, -first)
