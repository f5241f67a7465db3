"""One import on one database, for tests/benchmarks/import_apply.py, which says where that is.

Of the rows, six in ten enrol a patient and book an operation, two move a date, one brings another
phone number and one changes nothing; three modules are required. The floor, in the same run: bare
inserts of the very rows that the import inserted, by the driver's executemany in one transaction.
"""

import argparse
import cProfile
import os
import pstats
import sys
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

os.environ["DJANGO_SETTINGS_MODULE"] = "clinic.settings"

import django

django.setup()

from django.core.management import call_command  # noqa: E402 - only after the setup
from django.db import connection, models, transaction  # noqa: E402

from education.assign import require  # noqa: E402
from education.models import Assignment, AssignmentChange, Module  # noqa: E402
from patients import programme, register, schedule  # noqa: E402
from patients.batches import batches  # noqa: E402
from patients.import_schedule import Preview, apply, preview  # noqa: E402
from patients.models import (  # noqa: E402
    MatchKey,
    MatchName,
    Operation,
    OperationChange,
    Patient,
    PatientChange,
    Procedure,
    SearchWord,
)

PREVIEW, APPLY = 10.0, 30.0  # seconds for 10,000 rows
BEFORE, AT = datetime(2026, 11, 1, 15, tzinfo=UTC), datetime(2026, 11, 25, 15, tzinfo=UTC)
HEADER = "Case #,MRN,Patient Name,DOB,E-Mail,Phone,Procedure,Surgeon,Location,Surgery Date,Status"
# What an import inserts; each after what it points at.
WRITTEN: tuple[type[models.Model], ...] = (
    Patient,
    PatientChange,
    MatchName,
    MatchKey,
    SearchWord,
    Operation,
    OperationChange,
    Assignment,
    AssignmentChange,
)


class Undone(Exception):
    """Rolls a measured import back."""


def main() -> int:
    """Fill the database, measure preview, apply and floor, and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--people", type=int, required=True)
    parser.add_argument("--rows", type=int, required=True)
    parser.add_argument("--profile", action="store_true")
    options = parser.parse_args()
    call_command("migrate", verbosity=0)
    started = time.perf_counter()
    fill(options.people)
    print(f"  register {options.people:,}, filled in {time.perf_counter() - started:.0f} s")
    data = schedule_file(options.rows, options.people)
    previewed, preview_cpu, found = timed(lambda: preview(data, day_first=None, at=AT))
    counts = ", ".join(f"{count} {verdict}" for verdict, count in found.counts.items())
    (applied, apply_cpu), floor, rows = measured(data, profile=options.profile)
    scale = max(1.0, options.rows / 10_000)
    kept = previewed <= PREVIEW * scale and applied <= APPLY * scale
    print(f"  rows        {options.rows:>8,}: {counts}")
    print(
        f"  preview     {previewed:>8.2f} s, asked {PREVIEW * scale:g} s"
        f" ({preview_cpu:.2f} s of our processor time)"
    )
    print(
        f"  apply       {applied:>8.2f} s, asked {APPLY * scale:g} s, its own preview included"
        f" ({apply_cpu:.2f} s likewise)"
    )
    print(f"  bare inserts{floor:>8.2f} s of the {rows:,} rows that were inserted")
    print(f"  apply is    {applied / floor:>8.1f} times the bare inserts")
    print(f"  load        {os.getloadavg()[0]:>8.1f} on {os.cpu_count()} processors")
    print(f"  {'kept' if kept else 'BROKEN'}")
    return 0 if kept else 1


def fill(people: int) -> None:
    """Put patients on the register, the first ones with an operation; require three modules."""
    programme.found(name="Benchmark", time_zone="America/Chicago", phone="-", at=BEFORE)
    procedure = Procedure.objects.create(code="SLV", name="Sleeve gastrectomy")
    for number, opens in enumerate((-90, -60, -30)):
        module = Module.objects.create(code=f"module-{number}")
        require(procedure, module, opens_days=opens, clear_by_days=-7, at=BEFORE)
    for some in batches(range(people)):
        new = [patient(n) for n in some]
        register.enrol_all(new, at=BEFORE, source="benchmark")
        operations = [
            Operation(
                patient=one, procedure=procedure, case_number=f"C{n}", or_date=day(n), surgeon="Dr."
            )
            for n, one in zip(some, new, strict=True)
            if n < people // 2
        ]
        for operation in operations:
            operation.booking = "proposed"
        schedule.book_all(operations, at=BEFORE, source="benchmark")
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def patient(n: int) -> Patient:
    """Return an invented patient, not saved yet."""
    return Patient(
        mrn=f"M{n:07}",
        given_names=f"Given{n % 4637}",
        family_names=f"Family{n % 9973}",
        birth_date=born(n),
        email=f"p{n}@example.org",
        phone=f"312555{n % 10_000:04}",
    )


def born(n: int) -> date:
    """Return an invented date of birth."""
    return date(1950, 1, 1) + timedelta(days=n * 37 % 18_000)


def day(n: int) -> date:
    """Return an invented OR date."""
    return date(2027, 1, 4) + timedelta(days=n % 200)


def schedule_file(rows: int, people: int) -> bytes:
    """Return a schedule: of ten rows six are new, two moved, one corrected, one as it was."""
    lines = [HEADER]
    for n in range(rows):
        kind = n % 10
        who = people + n if kind < 6 else n
        planned = day(who) + timedelta(days=3 if kind in (6, 7) else 0)
        phone = f"312555{(who + (1 if kind == 8 else 0)) % 10_000:04}"
        lines.append(
            f'C{who},M{who:07},"Family{who % 9973}, Given{who % 4637}",{born(who)},'
            f"p{who}@example.org,{phone},Sleeve gastrectomy,Dr.,,{planned:%d-%b-%Y},Scheduled"
        )
    return "\r\n".join(lines).encode()


def measured(data: bytes, *, profile: bool) -> tuple[tuple[float, float], float, int]:
    """Return the seconds and processor time of an import, the seconds of bare inserts, and rows."""
    highest = {
        model: model._default_manager.aggregate(m=models.Max("pk"))["m"] for model in WRITTEN
    }
    copied: list[tuple[type[models.Model], list[str], list[Any]]] = []
    taken = cpu = 0.0
    profiler = cProfile.Profile(time.process_time)
    try:
        with transaction.atomic():
            if profile:
                profiler.enable()
            taken, cpu, _ = timed(lambda: apply(data, day_first=None, at=AT))
            profiler.disable()
            for model in WRITTEN:
                columns = [str(field.column) for field in model._meta.concrete_fields]
                names = ", ".join(f'"{name}"' for name in columns)
                with connection.cursor() as cursor:
                    cursor.execute(
                        f'SELECT {names} FROM "{model._meta.db_table}" WHERE id > %s',
                        [highest[model] or 0],
                    )
                    copied.append((model, columns, cursor.fetchall()))
            raise Undone
    except Undone:
        pass
    if profile:
        pstats.Stats(profiler).sort_stats("cumulative").print_stats(45)
    floor, _, _ = timed(lambda: insert_bare(copied))
    return (taken, cpu), floor, sum(len(rows) for _, _, rows in copied)


def insert_bare(copied: list[tuple[type[models.Model], list[str], list[Any]]]) -> None:
    """Insert rows with nothing around them."""
    with transaction.atomic(), connection.cursor() as cursor:
        for model, columns, rows in copied:
            names = ", ".join(f'"{name}"' for name in columns)
            places = ", ".join(["%s"] * len(columns))
            statement = f'INSERT INTO "{model._meta.db_table}" ({names}) VALUES ({places})'
            cursor.executemany(statement, rows)


def timed(act: Callable[[], Preview | None]) -> tuple[float, float, Any]:
    """Return how long an act takes by the clock and in processor time, and what it returned."""
    started, cpu = time.perf_counter(), time.process_time()
    done = act()
    return time.perf_counter() - started, time.process_time() - cpu, done


if __name__ == "__main__":
    sys.exit(main())
