"""What does an import cost that moves whoever has a plan?  `-m tests.benchmarks.plan_moves [N]`

A plan is computed when it is asked for, so nothing is re-dated. But whoever has one is told, in the
import's own transaction: a link, an email and a row each. Measured: the same schedule with every
date a week later, before anybody has a plan (the floor) and after all have one; then the emails
that the worker sends (to memory). Limit: 30 s for both at 1,000, in processor time; the clock's
time stands beside it, and what it takes to ask for every plan once.
"""

import os
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import django

FOLDER = tempfile.TemporaryDirectory()
sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))
os.environ["DJANGO_SETTINGS_MODULE"] = "clinic.settings"
os.environ["CLINIC_DATA_DIR"] = FOLDER.name
django.setup()

from django.core.management import call_command  # noqa: E402 - only after the setup
from django.test import override_settings  # noqa: E402

from clinic.models import Role, StaffUser  # noqa: E402
from education import stage_tables  # noqa: E402
from education.eating_record import TypedFacts, record_facts  # noqa: E402
from education.models import GivenBy, Message  # noqa: E402
from education.plan_moves import PLAN_MOVED, hand_over  # noqa: E402
from education.plan_of import plan_of  # noqa: E402
from education.rules.may_give import Medicine  # noqa: E402
from education.send import sweep  # noqa: E402
from patients import import_schedule, programme  # noqa: E402
from patients.models import Operation, Procedure  # noqa: E402

AT = datetime(2026, 11, 25, 18, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)
LIMIT = 30.0  # seconds for 1,000
HEADER = "MRN,Family name,Given names,Date of birth,Email,Procedure,OR date,Case number\n"


def main() -> int:
    """Measure, and say how it stands to the limit."""
    people = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000
    call_command("migrate", verbosity=0)
    by = StaffUser.objects.create_user("d@larkfield.example", "D", Role.DIETITIAN, "not-signed-in")
    programme.found(name="Larkfield", time_zone="America/Chicago", phone="312", at=AT)
    stage_tables.found(at=AT)
    Procedure.objects.create(code="SLV", name="Sleeve gastrectomy")
    _import(people, week=0)
    floor = _timed("moved by an import, without plans", lambda: _import(people, week=1))
    _give(by.pk)
    moved = _timed("moved by an import, with a plan each", lambda: _import(people, week=2))
    told = Message.objects.filter(purpose=PLAN_MOVED).count()
    with override_settings(EMAIL_BACKEND="django.core.mail.backends.locmem.EmailBackend"):
        sent = _timed(f"{told} emails sent to memory", _send)
    operations = list(Operation.objects.select_related("patient", "procedure"))
    _timed(
        "every plan asked for once", lambda: [plan_of(one, at=AT + 4 * HOUR) for one in operations]
    )
    whole, limit = moved - floor + sent, LIMIT * people / 1000
    print(f"{people} operations; to tell everybody: {whole:.1f} s (limit {limit:.0f} s)")
    return int(whole > limit or told != people)


def _timed(what: str, act: Callable[[], object]) -> float:
    """Return the processor time of an act, in seconds."""
    begun, processor = time.perf_counter(), time.process_time()
    act()
    took = time.process_time() - processor
    print(f"{what}: {took:.1f} s ({time.perf_counter() - begun:.1f} s by the clock)")
    return took


def _import(people: int, *, week: int) -> None:
    rows = []
    for number in range(people):
        born = date(1960, 1, 1) + timedelta(days=number * 7)
        or_date = AT.date() + timedelta(days=10 + number % 40 + 7 * week)
        who = f"M{number},Family{number},Given{number},{born},p{number}@example.org"
        rows.append(f"{who},Sleeve gastrectomy,{or_date},C{number}")
    text = HEADER + "\n".join(rows) + "\n"
    import_schedule.apply(
        text.encode(), day_first=None, at=AT + week * HOUR, name=f"week-{week}.csv", by_id=None
    )


def _give(by_id: int) -> None:
    table = stage_tables.current()
    if table is None:
        raise LookupError("no stages")
    said: dict[Medicine, bool | None] = dict.fromkeys(Medicine, False)
    facts = TypedFacts("120 kg", Decimal(120), "165 cm", Decimal(165), None, said)
    for operation in Operation.objects.select_related("patient", "procedure"):
        record_facts(operation.patient, facts, at=AT + HOUR, by_id=by_id)
        hand_over(operation, table, GivenBy.PRINT, at=AT + HOUR, by_id=by_id)


def _send() -> None:
    while sweep(at=AT + 3 * HOUR):
        pass


if __name__ == "__main__":
    sys.exit(main())
