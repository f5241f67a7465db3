"""Draw an assignment's days to scale: the window, today, the OR date, the clearances.

Pure geometry, no clock and no markup. Lengths are in units of the drawing's view box, days are
the programme's local dates; a day is a stretch of `UNIT` units, and a mark stands in its middle.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

WIDTH = 252.0
WEEK = timedelta(days=7)


@dataclass(frozen=True)
class Span:
    """The days that a ruler shows, both included."""

    first: date
    last: date

    @property
    def unit(self) -> float:
        """The length of one day."""
        return WIDTH / ((self.last - self.first).days + 1)

    def starts(self, day: date) -> float:
        """Where a day begins, inside the drawing."""
        return min(max((day - self.first).days * self.unit, 0.0), WIDTH)

    def ends(self, day: date) -> float:
        """Where a day is over, inside the drawing."""
        return self.starts(day + timedelta(days=1))

    def holds(self, day: date) -> bool:
        return self.first <= day <= self.last


@dataclass(frozen=True)
class Mark:
    """One day on the ruler. `beyond` is -1 or 1 when it lies outside, and stands at the edge."""

    day: date
    x: float
    beyond: int = 0


@dataclass(frozen=True)
class Ruler:
    """`window_x` and `window_width` are None without a window, or when none of it is in view."""

    span: Span
    today: Mark
    or_date: Mark | None
    clearances: tuple[Mark, ...]
    window_x: float | None
    window_width: float | None
    opens_on: date | None
    clear_by: date | None


def around(on: date, *, weeks: int = 6) -> Span:
    """The span that a list's rulers share, so that today stands in one line down the page."""
    return Span(on - weeks * WEEK, on + weeks * WEEK)


def ruler(
    *,
    on: date,
    span: Span,
    or_date: date | None,
    opens_on: date | None,
    clear_by: date | None,
    clearances: Iterable[date] = (),
) -> Ruler:
    """Return where each day of an assignment stands on a span of days."""
    start = end = None
    if opens_on and clear_by and opens_on <= span.last and clear_by >= span.first:
        start, end = span.starts(opens_on), span.ends(clear_by)
    return Ruler(
        span=span,
        today=mark(span, on),
        or_date=mark(span, or_date) if or_date else None,
        clearances=tuple(mark(span, day) for day in sorted(set(clearances))),
        window_x=None if start is None else round(start, 1),
        window_width=None if start is None or end is None else round(end - start, 1),
        opens_on=opens_on,
        clear_by=clear_by,
    )


def mark(span: Span, day: date) -> Mark:
    """Return the middle of a day, or the edge beyond which it lies."""
    if day < span.first:
        return Mark(day, 0.0, -1)
    if day > span.last:
        return Mark(day, WIDTH, 1)
    return Mark(day, round((span.starts(day) + span.ends(day)) / 2, 1))


def week_ticks(span: Span, on: date) -> tuple[float, ...]:
    """Return where the weeks before and after the day `on` stand."""
    weeks = range(-((on - span.first).days // 7), (span.last - on).days // 7 + 1)
    return tuple(mark(span, on + week * WEEK).x for week in weeks if week)
