"""Draw an operation's days to scale: a lane for each module, and one for contacts.

Pure geometry, no clock and no markup. Across, places are per cents of the drawing's width, so that
marks and words keep their size on every screen; down, they are pixels. What would cover each other
on the narrowest screen is counted (one mark, a number) or stands in a row of its own below.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from itertools import groupby
from textwrap import wrap

NARROWEST = 300  # pixels: the drawing on a screen of 360
ROOM = 100 * 17 / NARROWEST  # per cent that a mark takes there
ROOM_WITH_COUNT = 100 * 32 / NARROWEST
TICKS_APART = 100 * 66 / NARROWEST
HEAD, LINE, ROW, FOOT = 44, 16, 18, 22  # pixels: heights of the parts
ACROSS = 42  # characters that fit into the narrowest drawing
CLEAR_BY = len(", clear by 30 Sep")


class Kind(StrEnum):
    """What a mark says; each has a shape of its own."""

    INVITED = "invited"
    BEGUN = "begun"
    FAILED = "failed"
    PASSED = "passed"
    UNDECIDED = "undecided"
    CLEARED = "cleared"
    SIGNED_OFF = "signed_off"
    WAIVED = "waived"
    TAKEN_BACK = "taken_back"
    CONTACT = "contact"


@dataclass(frozen=True)
class Happening:
    """Something on a day; `words` say it for the text beside the drawing."""

    day: date
    kind: Kind
    words: str


@dataclass(frozen=True)
class Course:
    """What a lane shows: a module with its window, or the contacts without one."""

    title: str
    happenings: tuple[Happening, ...]
    opens_on: date | None = None
    clear_by: date | None = None


@dataclass(frozen=True)
class Mark:
    """One mark, for one happening or for `count` that lie too close to be told apart."""

    kind: Kind
    x: float
    y: int
    count: int
    first: date
    last: date


@dataclass(frozen=True)
class TitleLine:
    """One line of a lane's title; the last one is empty where the clear-by date stands alone."""

    words: str
    y: int


@dataclass(frozen=True)
class Lane:
    """One lane; the window's place is None without a window."""

    title: str
    lines: tuple[TitleLine, ...]  # the whole title
    top: int
    height: int
    marks: tuple[Mark, ...]
    window_x: float | None
    window_width: float | None
    clear_by: date | None

    @property
    def clear_by_x(self) -> float:
        """Where the window ends: at the end of the clear-by date."""
        return round((self.window_x or 0) + (self.window_width or 0), 2)


@dataclass(frozen=True)
class Line:
    """A day that goes down through all lanes; `anchor` keeps its words inside the drawing."""

    day: date
    x: float
    anchor: str


@dataclass(frozen=True)
class Timeline:
    """The whole drawing. `height` in pixels; `kinds`: which marks it has, for the legend."""

    first: date
    last: date
    height: int
    bottom: int
    lanes: tuple[Lane, ...]
    today: Line | None
    or_date: Line | None
    ticks: tuple[Line, ...]
    kinds: tuple[Kind, ...]


def timeline(
    courses: Sequence[Course], *, on: date, or_date: date | None, is_open: bool
) -> Timeline | None:
    """Return the drawing, None when there is no day to draw.

    `on` is the day asked about; it is drawn while the operation is open. Contacts outside the days
    of the modules and the OR date are left to the operations that they belong to.
    """
    days = _days(courses, on=on, or_date=or_date, is_open=is_open)
    if not days:
        return None
    room = max(timedelta(days=2), (max(days) - min(days)) / 25)
    scale = _Scale(min(days) - room, max(days) + room)
    lanes = []
    y = HEAD
    for course in courses:
        lane = _lane(course, scale, y)
        if lane.marks or lane.window_x is not None:
            lanes.append(lane)
            y = lane.top + lane.height + 6
    return Timeline(
        first=scale.first,
        last=scale.last,
        height=y + FOOT,
        bottom=y,
        lanes=tuple(lanes),
        today=_line(on, scale) if on in scale else None,
        or_date=_line(or_date, scale) if or_date else None,
        ticks=_ticks(scale),
        kinds=tuple(k for k in Kind if any(m.kind == k for lane in lanes for m in lane.marks)),
    )


@dataclass(frozen=True)
class _Scale:
    first: date
    last: date

    def __contains__(self, day: date) -> bool:
        return self.first <= day <= self.last

    @property
    def unit(self) -> float:
        return 100 / ((self.last - self.first).days + 1)

    def starts(self, day: date) -> float:
        return round((day - self.first).days * self.unit, 2)

    def middle(self, day: date) -> float:
        return round(((day - self.first).days + 0.5) * self.unit, 2)


def _days(
    courses: Iterable[Course], *, on: date, or_date: date | None, is_open: bool
) -> list[date]:
    known = [or_date, on if is_open and or_date else None]
    for course in courses:
        known += [course.opens_on, course.clear_by]
        known += [one.day for one in course.happenings if one.kind != Kind.CONTACT]
    return [day for day in known if day is not None]


def _lane(course: Course, scale: _Scale, y: int) -> Lane:
    lines = _title(course, y)
    top = y + LINE * len(lines) + 4
    marks, rows = _placed(course.happenings, scale, top)
    x = width = None
    if course.opens_on and course.clear_by:
        x = scale.starts(course.opens_on)
        width = round(scale.starts(course.clear_by + timedelta(days=1)) - x, 2)
    return Lane(course.title, lines, top, max(rows, 1) * ROW, marks, x, width, course.clear_by)


def _title(course: Course, y: int) -> tuple[TitleLine, ...]:
    """Break a title into lines that fit, the clear-by date behind it; words of SVG do not wrap."""
    lines = wrap(course.title, ACROSS) or [""]
    if course.opens_on and course.clear_by and len(lines[-1]) + CLEAR_BY > ACROSS:
        lines.append("")
    return tuple(TitleLine(words, y + 14 + LINE * n) for n, words in enumerate(lines))


def _placed(
    happenings: Iterable[Happening], scale: _Scale, top: int
) -> tuple[tuple[Mark, ...], int]:
    """Count what lies close and is alike, then give each mark the first row where it has room."""
    shown = sorted((h for h in happenings if h.day in scale), key=lambda h: (h.kind, h.day))
    groups: list[list[Happening]] = []
    for _, alike in groupby(shown, key=lambda h: h.kind):
        current: list[Happening] = []
        for one in alike:
            if current and scale.middle(one.day) - scale.middle(current[0].day) < ROOM:
                current.append(one)
            else:
                current = [one]
                groups.append(current)
    ends: list[float] = []
    marks = []
    for group in sorted(groups, key=lambda g: (g[0].day, list(Kind).index(g[0].kind))):
        x = scale.middle(group[0].day)
        row = next((i for i, end in enumerate(ends) if end <= x), len(ends))
        ends[row : row + 1] = [x + (ROOM if len(group) == 1 else ROOM_WITH_COUNT)]
        y = top + row * ROW + ROW // 2
        marks.append(Mark(group[0].kind, x, y, len(group), group[0].day, group[-1].day))
    return tuple(marks), len(ends)


def _line(day: date, scale: _Scale) -> Line:
    x = scale.middle(day)
    anchor = "start" if x < 25 else "end" if x > 75 else "middle"
    return Line(day, x, anchor)


def _ticks(scale: _Scale) -> tuple[Line, ...]:
    """Return the first days of months, as many as have room for their words."""
    months = []
    year, month = scale.first.year, scale.first.month
    while (day := date(year, month, 1)) <= scale.last:
        if day >= scale.first:
            months.append(day)
        year, month = (year + 1, 1) if month == 12 else (year, month + 1)
    step = 1
    while len(months) > 1 and (scale.unit * 30 * step) < TICKS_APART:
        step += 1
    found = [Line(day, scale.starts(day), "middle") for day in months[::step]]
    return tuple(tick for tick in found if 10 <= tick.x <= 90)
