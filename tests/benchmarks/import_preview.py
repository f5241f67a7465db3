"""How long does the preview of 10,000 rows take?  `-m tests.benchmarks.import_preview [ROWS]`

Measured against a floor in the same run: the csv module reading the same bytes. Half of the rows
are on record already, so that every kind of look-up is made. Promise S5: 10,000 rows in 10 s.
Exits with 1 when that is broken. On a busy machine the processor's time is the one to read.
"""

import csv
import io
import os
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import django

FOLDER = tempfile.TemporaryDirectory()
sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))
os.environ["DJANGO_SETTINGS_MODULE"] = "clinic.settings"
os.environ["CLINIC_DATA_DIR"] = FOLDER.name
django.setup()

from django.core.management import call_command  # noqa: E402 - only after the setup
from django.db import connection, reset_queries  # noqa: E402

from patients import programme  # noqa: E402
from patients.import_schedule import apply, preview  # noqa: E402
from patients.models import Procedure  # noqa: E402

LIMIT = 10.0  # seconds for 10,000 rows
AT = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)
HEADER = "Case #,MRN,Patient Name,DOB,E-Mail,Phone,Procedure,Surgeon,Location,Surgery Date,Status"


def main() -> int:
    """Fill a database with half of the rows, then time floor and preview."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    call_command("migrate", verbosity=0)
    programme.found(name="Benchmark", time_zone="America/Chicago", phone="-", at=AT)
    Procedure.objects.create(code="SLV", name="Sleeve gastrectomy")
    half, whole = schedule(rows // 2, moved=0), schedule(rows, moved=3)
    imported, imported_cpu = seconds(lambda: apply(half, day_first=None, at=AT))
    floor, _ = min(seconds(lambda: read(whole)) for _ in range(3))
    connection.force_debug_cursor = True
    reset_queries()
    taken, cpu = seconds(lambda: preview(whole, day_first=None, at=AT))
    queries = len(connection.queries)
    connection.force_debug_cursor = False
    limit = LIMIT * max(1.0, rows / 10_000)
    print(f"rows                   {rows:>10,}")
    print(f"csv.reader alone       {floor:>10.3f} s")
    print(f"preview                {taken:>10.3f} s ({cpu:.3f} s of processor time)")
    print(f"                       {taken / floor:>10.0f} times the floor, {queries} queries")
    print(f"import of {rows // 2:<8,}     {imported:>10.3f} s ({imported_cpu:.3f} s likewise)")
    print(f"load                   {os.getloadavg()[0]:>10.1f} on {os.cpu_count()} processors")
    print(f"promise                {limit:>10.1f} s   {'kept' if taken <= limit else 'BROKEN'}")
    return 0 if taken <= limit else 1


def schedule(rows: int, *, moved: int) -> bytes:
    """Return an invented schedule; `moved` days later than the first one."""
    lines = [HEADER]
    for n in range(rows):
        born = date(1950, 1, 1) + timedelta(days=n * 37 % 18_000)
        day = date(2027, 1, 4) + timedelta(days=n % 200 + moved)
        lines.append(
            f'C{n},M{n:06},"FAMILY{n % 977}, GIVEN{n % 463}",{born:%Y-%m-%d},p{n}@example.org,'
            f"312555{n % 10_000:04},Sleeve gastrectomy,Dr. Brask,East,{day:%d-%b-%Y},Scheduled"
        )
    return "\r\n".join(lines).encode()


def read(data: bytes) -> int:
    """The floor: decode, and let the csv module part the cells."""
    return sum(1 for _ in csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def seconds(act: Callable[[], object]) -> tuple[float, float]:
    """Return how long an act takes, by the clock and in processor time."""
    started, cpu = time.perf_counter(), time.process_time()
    act()
    return time.perf_counter() - started, time.process_time() - cpu


if __name__ == "__main__":
    sys.exit(main())
