"""The demo's invented programme, loaded the way it would have come about.

Every record is written by the act that really writes it, at the instant at which it would have
happened, in the order of time: schedules are imported as they are exported, links sent, quizzes
taken, calls made. Who plays which part stands in clinic/demo/story.py.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial
from pathlib import Path

from django.conf import settings
from django.contrib.auth.hashers import make_password
from django.db import transaction

from clinic.demo.beside import with_pictures
from clinic.demo.events import AFTER, BEFORE
from clinic.demo.people import (
    BY_MRN,
    PASSWORD,
    PEOPLE,
    PHONE,
    PROCEDURES,
    PROGRAMME,
    STAFF,
    TIME_ZONE,
)
from clinic.demo.plans import plan_events
from clinic.demo.questions import question_events
from clinic.demo.routine import OPENS, routine
from clinic.demo.schedule_export import EXPORTS, export
from clinic.demo.stage import Stage, instant
from clinic.demo.story import PART_OF, STORY
from clinic.models import Role, StaffUser
from education import stage_tables
from education.assign import require
from education.models import Message, MessageState
from education.plan_moves import PLAN_MOVED
from education.publish import publish
from education.rules.module_text import read_module
from education.send import send
from education.signing import sign
from patients import import_schedule, programme
from patients.duplicates import compare_waiting
from patients.models import Procedure

__all__ = ["LOGINS", "STORY", "TIME_ZONE", "TO_IMPORT", "TRY_WITH", "build"]

# Role, email, password: one for each role.
LOGINS: list[tuple[str, str, str]] = [(str(role), email, PASSWORD) for role, _, email in STAFF]
FOUNDED = 400  # days before the demo's day
STARTER = Path(settings.BASE_DIR) / "education" / "starter"
# Module file, code, and how many days before the OR date it must be clear; None: nothing requires
# it yet. One of them a clinician has read and signed.
MODULES = (
    ("before_your_operation.toml", BEFORE, 14),
    ("first_weeks_at_home.toml", AFTER, 7),
    ("eating_and_drinking.toml", "eating-drinking", None),
)
SIGNED = BEFORE
# A patient who can be invited at once: late, and nobody has sent a link yet.
TRY_WITH = BY_MRN[next(part.mrn for part in STORY if part.part == "late, never invited")]
# Today's schedule, left in the data folder for whoever wants to try the import.
TO_IMPORT = "schedule-to-import.csv"


@dataclass(frozen=True)
class Happening:
    """One act at one instant."""

    at: datetime
    play: Callable[[], object]


def build(on: date, progress: Callable[[str], None]) -> None:
    """Load the scenario as it stands on the morning of the day `on`, all of it or nothing."""
    with transaction.atomic():
        stage = _found(on)
        progress("  The programme, its staff and its modules are there.")
        happenings = sorted([*_imports(stage), *_lives(stage)], key=lambda h: h.at)
        for done, happening in enumerate(happenings, start=1):
            happening.play()
            if done % 100 == 0 or done == len(happenings):
                progress(f"  {done} of {len(happenings)} things have happened.")
        # The night before, as the worker would have done by then.
        compare_waiting(at=stage.instant(1, 22))
    (Path(settings.DATA_DIR) / TO_IMPORT).write_bytes(export(on, days_ago=0))


def _found(on: date) -> Stage:
    at = instant(on, FOUNDED, 9)
    programme.found(name=PROGRAMME, time_zone=TIME_ZONE, phone=PHONE, at=at)
    stage_tables.found(at=at)
    password = make_password(PASSWORD)  # once, not for each: it takes half a second on purpose
    staff = {
        role: StaffUser.objects.create(email=email, name=name, role=role, password=password)
        for role, name, email in STAFF
    }
    stage = Stage(on, staff)
    clinician = stage.id_of(Role.CLINICIAN)
    procedures = [Procedure.objects.create(code=code, name=name) for code, name in PROCEDURES]
    for file, code, clear_by in MODULES:
        text = read_module((STARTER / file).read_text(encoding="utf-8"))
        text = with_pictures(text, at=at, by_id=clinician)
        edition = publish(text, at=at, by_id=clinician)
        if code == SIGNED:
            sign(edition, at=instant(on, FOUNDED - 1, 11), by_id=clinician)
        if clear_by is None:
            continue
        for procedure in procedures:
            require(
                procedure,
                edition.module,
                opens_days=-OPENS,
                clear_by_days=-clear_by,
                at=at,
                by_id=clinician,
            )
    return stage


def _imports(stage: Stage) -> Iterator[Happening]:
    """The schedules, as they came early in the morning."""
    for days_ago in EXPORTS:
        at = stage.instant(days_ago, 6, 30)
        yield Happening(at, partial(_import, stage, days_ago, at))


def _lives(stage: Stage) -> Iterator[Happening]:
    """What happened to each patient; minutes apart, as one person can only do one thing."""
    for person in PEOPLE:
        part = PART_OF.get(person.mrn)
        lived = part.how if part else routine(person)
        for event in (*lived, *plan_events(person), *question_events(person)):
            at = stage.instant(event.days_ago, event.hour, person.number % 60)
            yield Happening(at, partial(event.play, stage, person.mrn, at))


def _import(stage: Stage, days_ago: int, at: datetime) -> None:
    """The coordinator imported the schedule of a day, and the worker sent what followed from it."""
    import_schedule.apply(
        export(stage.on, days_ago),
        day_first=False,
        at=at,
        name=f"schedule-{stage.day(-days_ago)}.csv",
        by_id=stage.id_of(Role.COORDINATOR),
    )
    for told in Message.objects.filter(purpose=PLAN_MOVED, state=MessageState.WAITING):
        send(told.pk, at=at)
