"""The operating schedule as the operating-room system of the demo would export it.

One system, one habit: a byte-order mark, CRLF, headings in capitals, names as "LAST, FIRST" and
now and then all in capitals, birth dates in numbers with the month first, and the slips that real
schedules have.
"""

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from clinic.demo.people import FACILITY, PEOPLE, PROCEDURES, Person
from patients.rules.schedule_names import readable

HEADINGS = (
    "CASE #",
    "MRN",
    "PATIENT NAME",
    "DOB",
    "PREFERRED LANGUAGE",
    "E-MAIL",
    "PHONE",
    "PROCEDURE",
    "SURGEON",
    "LOCATION",
    "SURGERY DATE",
    "CASE STATUS",
)
EXPORTS = (130, 97, 75, 60, 45, 30, 17, 9, 3)  # days ago; one more, of today, is left to import
DONE_CASES_STAY = 21  # days that a case is exported after it was done
SCHEDULED, ON_HOLD, COMPLETED, CANCELLED = "Scheduled", "On hold", "Completed", "Cancelled"
PROCEDURE_NAMES = dict(PROCEDURES)


@dataclass(frozen=True)
class Planned:
    """What the schedule said from `known` days ago on; `or_day` in days from the demo's day."""

    known: int
    or_day: int | None
    status: str = SCHEDULED


# Patients whose plans changed, or who came late to the schedule. The rest have one plan.
PLANS = {
    "TF-30104": (Planned(3, 11),),
    "TF-30114": (Planned(97, 5), Planned(17, 22)),
    "TF-30115": (Planned(75, 30), Planned(9, 30, CANCELLED)),
    "TF-30116": (Planned(75, 35), Planned(6, None)),
    "TF-30133": (Planned(60, 33), Planned(5, 33, ON_HOLD)),
    "TF-30134": (Planned(60, 40), Planned(9, 13)),
    "TF-30141": (Planned(130, -29), Planned(45, -15)),
    "TF-30146": (Planned(75, 6), Planned(0, 9)),  # confirmed; the move is in today's schedule
    "TF-30148": (Planned(60, 14), Planned(0, 20)),
    "TF-30150": (Planned(75, 18), Planned(30, 25)),
    "TF-30153": (Planned(60, 34), Planned(17, 41)),
    "TF-30165": (Planned(3, 68),),
}


def plans(person: Person) -> tuple[Planned, ...]:
    """Return what the schedule said about a patient, the earliest first."""
    if person.mrn in PLANS or person.or_day is None:
        return PLANS[person.mrn]
    lead = 80 + person.number * 11 % 25
    return (Planned(max(EXPORTS[-1], lead - person.or_day), person.or_day),)


def first_export(person: Person) -> int:
    """Return how many days ago a patient was first on an exported schedule."""
    return max(days_ago for days_ago in EXPORTS if days_ago <= plans(person)[0].known)


def export(on: date, days_ago: int) -> bytes:
    """Return the schedule as it was exported `days_ago` days before `on`."""
    rows = [_row(person, plan, on) for person, plan in _listed(days_ago)]
    if days_ago == 0:
        rows[4:4] = _newcomers(on)
    if days_ago in (0, EXPORTS[-1]):
        rows += _slips(on)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(HEADINGS)
    writer.writerows(rows)
    return b"\xef\xbb\xbf" + text.getvalue().encode()


def _listed(days_ago: int) -> Iterator[tuple[Person, Planned]]:
    """Whoever was on the schedule that day, with what it said."""
    for person in PEOPLE:
        known = [plan for plan in plans(person) if plan.known >= days_ago]
        if not known:
            continue
        plan = known[-1]
        days_over = -days_ago - plan.or_day if plan.or_day is not None else 0
        if days_over > DONE_CASES_STAY:
            continue
        if days_over > 0 and plan.status == SCHEDULED:
            plan = Planned(plan.known, plan.or_day, COMPLETED)
        yield person, plan


def _row(person: Person, plan: Planned, on: date) -> list[str]:
    day = None if plan.or_day is None else on + timedelta(days=plan.or_day)
    return [
        person.case_number,
        person.mrn,
        printed_name(person),
        f"{person.birth_date:%m/%d/%Y}",
        {"es": "Spanish", "en": "English"}[person.language],
        person.email,
        person.phone,
        _printed(PROCEDURE_NAMES[person.procedure], person),
        person.surgeon,
        FACILITY,
        f"{day:%d-%b-%Y}".upper() if day else "",
        plan.status,
    ]


def printed_name(person: Person) -> str:
    """Return "LAST, FIRST"; every second one in capitals, where nothing of the name is lost."""
    names = [part for part in (person.family, person.given) if part]
    kept = all(readable(name.upper()) == name for name in names)
    written = ", ".join(names)
    return written.upper() if kept and person.number % 2 else written


def _printed(words: str, person: Person) -> str:
    return words.upper() if person.number % 3 == 0 else words


def _newcomers(on: date) -> list[list[str]]:
    """Two patients who are on today's schedule for the first time."""
    bodil = Person(
        "TF-30163", "Bodil", "Amundsen", "1986-03-09", "en", "SLEEVE", 93, "bodil@example.org"
    )
    nieves = Person(
        "TF-30164", "Nieves", "Quintana", "1972-08-05", "es", "RYGB", 98, "nieves.q@example.org"
    )
    return [_row(who, Planned(0, who.or_day), on) for who in (bodil, nieves)]


def _slips(on: date) -> list[list[str]]:
    """What goes wrong in a real schedule: each of these rows is rejected, with its reason."""
    soon = Planned(0, 58)

    def slip(number: int, given: str, family: str, **cells: str) -> list[str]:
        who = Person(
            f"TF-301{number}",
            given,
            family,
            "1980-01-15",
            "en",
            "SLEEVE",
            58,
            "",
        )
        row = _row(who, soon, on)
        for heading, cell in cells.items():
            row[HEADINGS.index(heading.replace("_", " "))] = cell
        return row

    return [
        slip(71, "Osric", "Fennimore", PROCEDURE="Lap band adjustment"),
        slip(72, "Verena", "Holloway"),
        slip(72, "Ambrose", "Tillery"),
        [""] * len(HEADINGS),
        slip(73, "Cosima", "Ravenhill", SURGERY_DATE=f"31-FEB-{on.year + 1}"),
        slip(74, "Leopold", "Skarsgard-Ames", DOB="4/7/61"),
    ]
