"""Draw a quiz's figures to scale: a row for each question, and how many had how many right.

Pure geometry. Across, places are per cents of the drawing's width, so that marks and words keep
their size on every screen; down, they are pixels.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from education.rules.item_statistics import Interval

EASE = (10.0, 48.0)  # the panel of the shares right, 0 to 1
TELLS = (60.0, 97.0)  # the panel of the discriminations
LOWEST, HIGHEST = -0.5, 1.0  # what that panel shows; lower ones stand at its edge
HEAD, ROW, FOOT = 24, 22, 20  # pixels
TALLEST, BARS_HEAD = 70, 20


@dataclass(frozen=True)
class Spread:
    """A figure and its interval, as places across."""

    at: float
    low: float
    high: float

    @property
    def width(self) -> float:
        """How wide the interval is."""
        return round(self.high - self.low, 2)


@dataclass(frozen=True)
class Row:
    """One question, or one version of it; `grave` gets another shape."""

    label: str
    y: int
    ease: Spread | None
    tells: Spread | None
    grave: bool


@dataclass(frozen=True)
class Tick:
    """A line down a panel with its label."""

    x: float
    label: str


@dataclass(frozen=True)
class Chart:
    """The rows with their two panels."""

    rows: tuple[Row, ...]
    ease_ticks: tuple[Tick, ...]
    tells_ticks: tuple[Tick, ...]
    bottom: int
    height: int
    top: int = HEAD


@dataclass(frozen=True)
class Bar:
    """How many patients had so many right."""

    right: int
    count: int
    x: float
    middle: float
    y: int
    height: int


@dataclass(frozen=True)
class Bars:
    """The numbers right; `needed_x` is the pass mark, left of the first bar that reaches it."""

    bars: tuple[Bar, ...]
    width: float
    needed_x: float
    bottom: int
    height: int


Figures = tuple[str, float | None, Interval | None, float | None, Interval | None, bool]


def chart(rows: Sequence[Figures]) -> Chart:
    """Draw rows of (label, share right, its interval, discrimination, its interval, grave)."""
    drawn = tuple(
        Row(
            label,
            HEAD + place * ROW + ROW // 2,
            _spread(ease, ease_within, EASE, 0, 1),
            _spread(tells, tells_within, TELLS, LOWEST, HIGHEST),
            grave,
        )
        for place, (label, ease, ease_within, tells, tells_within, grave) in enumerate(rows)
    )
    bottom = HEAD + len(drawn) * ROW
    return Chart(
        drawn,
        tuple(Tick(_place(p, EASE, 0, 1), f"{round(p * 100)} %") for p in (0, 0.5, 1)),
        tuple(
            Tick(_place(r, TELLS, LOWEST, HIGHEST), f"{r:g}".replace("-", "−"))
            for r in (-0.5, 0, 0.5, 1)
        ),
        bottom,
        bottom + FOOT,
    )


def bars(totals: Mapping[int, int], *, questions: int, needed: int) -> Bars:
    """Draw how many patients had 0, 1, ... all questions right."""
    width = 100 / (questions + 1)
    tallest = max(totals.values(), default=0) or 1
    drawn = []
    for right in range(questions + 1):
        count = totals.get(right, 0)
        height = max(round(TALLEST * count / tallest), int(count > 0))
        drawn.append(
            Bar(
                right,
                count,
                round(right * width + width * 0.1, 2),
                round((right + 0.5) * width, 2),
                BARS_HEAD + TALLEST - height,
                height,
            )
        )
    bottom = BARS_HEAD + TALLEST
    return Bars(
        tuple(drawn), round(width * 0.8, 2), round(needed * width, 2), bottom, bottom + FOOT
    )


def _spread(
    value: float | None,
    within: Interval | None,
    panel: tuple[float, float],
    lowest: float,
    highest: float,
) -> Spread | None:
    if value is None or within is None:
        return None
    return Spread(*(_place(v, panel, lowest, highest) for v in (value, within.low, within.high)))


def _place(value: float, panel: tuple[float, float], lowest: float, highest: float) -> float:
    share = (min(max(value, lowest), highest) - lowest) / (highest - lowest)
    return round(panel[0] + share * (panel[1] - panel[0]), 2)
