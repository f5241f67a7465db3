"""An operation's timeline as the patient's page shows it: drawing, legend, and words."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from clinic.timeline import Course, Happening, Kind, Timeline, timeline
from education.standings import Told
from patients.models import OPEN_BOOKINGS, OperationChange

MARK = {
    Kind.INVITED: "link sent",
    Kind.BEGUN: "quiz begun",
    Kind.FAILED: "quiz failed",
    Kind.PASSED: "quiz passed",
    Kind.UNDECIDED: "quiz not decided to be this patient’s",
    Kind.CLEARED: "cleared",
    Kind.SIGNED_OFF: "signed off",
    Kind.WAIVED: "waived",
    Kind.TAKEN_BACK: "sign-off or waiver taken back, or declined",
    Kind.CONTACT: "contact",
}


@dataclass(frozen=True)
class Row:
    """One day in words; `of` is the module it is about, or empty."""

    day: date
    words: str
    of: str


@dataclass(frozen=True)
class Drawing:
    """A timeline with everything that stands beside it."""

    timeline: Timeline
    rows: list[Row]

    @property
    def legend(self) -> list[tuple[Kind, str]]:
        """The marks that the timeline has, with what they say."""
        return [(kind, MARK[kind]) for kind in self.timeline.kinds]

    @property
    def has_window(self) -> bool:
        """Whether a window is drawn."""
        return any(lane.window_x is not None for lane in self.timeline.lanes)


def draw(
    planned: OperationChange,
    modules: Sequence[tuple[str, Told]],
    happenings: Mapping[int, Sequence[Happening]],
    contacts: Sequence[Happening],
    *,
    on: date,
) -> Drawing | None:
    """Draw an operation as it was planned; `modules` are titles and standings."""
    courses = [
        Course(
            title,
            tuple(happenings.get(told.assignment.pk, ())),
            told.facts.opens_on,
            told.facts.clear_by,
        )
        for title, told in modules
    ]
    courses.append(Course("Contacts", tuple(contacts)))
    is_open = planned.booking in OPEN_BOOKINGS
    drawn = timeline(courses, on=on, or_date=planned.or_date, is_open=is_open)
    if drawn is None:
        return None
    return Drawing(drawn, _rows(courses, drawn, planned.or_date, on))


def _rows(courses: Sequence[Course], drawn: Timeline, or_date: date | None, on: date) -> list[Row]:
    rows = [Row(or_date, "OR date", "")] if or_date else []
    rows += [Row(on, "the day asked about", "")] if drawn.today else []
    for course in courses:
        if course.opens_on and course.clear_by:
            rows.append(Row(course.opens_on, "window opens", course.title))
            rows.append(Row(course.clear_by, "clear by", course.title))
        rows += [
            Row(one.day, one.words, course.title)
            for one in course.happenings
            if drawn.first <= one.day <= drawn.last
        ]
    return sorted(rows, key=lambda row: row.day)
