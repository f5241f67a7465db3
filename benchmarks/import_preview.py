"""How long does the preview of 10,000 rows take?  `python benchmarks/import_preview.py [ROWS]`

Measured against a floor in the same run: the csv module reading the same bytes. Half of the rows
are on record already, so that every kind of look-up is made. Promise S5: 10,000 rows in 10 s.
Exits with 1 when that is broken.
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

LIMIT = 10.0  # seconds for 10,000 rows
AT = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)
HEADER = "Case #,MRN,Patient Name,DOB,E-Mail,Phone,Procedure,Surgeon,Location,Surgery Date,Status"


def main() -> int:
    """Measure, print, compare with the promise."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
    os.environ["DJANGO_SETTINGS_MODULE"] = "clinic.settings"
    with tempfile.TemporaryDirectory() as folder:
        os.environ["CLINIC_DATA_DIR"] = folder
        django.setup()
        return measure(rows)


def measure(rows: int) -> int:
    """Fill a database with half of the rows, then time floor, preview and import."""
    # Only after setup can the records be imported.
    from django.core.management import call_command  # noqa: PLC0415
    from django.db import connection, reset_queries  # noqa: PLC0415

    from patients import programme  # noqa: PLC0415
    from patients.import_schedule import apply, preview  # noqa: PLC0415
    from patients.models import Procedure  # noqa: PLC0415

    call_command("migrate", verbosity=0)
    programme.found(name="Benchmark", time_zone="America/Chicago", phone="-", at=AT)
    Procedure.objects.create(code="SLV", name="Sleeve gastrectomy")
    half, whole = schedule(rows // 2, moved=0), schedule(rows, moved=3)
    applied = seconds(lambda: apply(half, day_first=None, at=AT))
    floor = min(seconds(lambda: read(whole)) for _ in range(3))
    connection.force_debug_cursor = True
    reset_queries()
    taken = seconds(lambda: print(preview(whole, day_first=None, at=AT).counts))
    queries = len(connection.queries)
    connection.force_debug_cursor = False
    limit = LIMIT * max(1.0, rows / 10_000)
    print(f"rows                    {rows:>10,}")
    print(f"csv.reader alone        {floor:>10.3f} s")
    print(f"preview                 {taken:>10.3f} s   {taken / floor:.0f} times the floor")
    print(f"queries of the preview  {queries:>10}")
    print(f"import of {rows // 2:,} rows    {applied:>10.3f} s")
    print(f"promise                 {limit:>10.1f} s   {'kept' if taken <= limit else 'BROKEN'}")
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


def seconds(act: Callable[[], object]) -> float:
    """Return how long an act takes."""
    started = time.perf_counter()
    act()
    return time.perf_counter() - started


if __name__ == "__main__":
    sys.exit(main())
