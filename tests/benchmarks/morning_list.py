"""What the morning list costs with 500 flagged patients.

Run: .venv/bin/python -m tests.benchmarks.morning_list

Builds its own temporary SQLite database, asks for the first page, and prints the number of
queries, the bytes, and the time in multiples of a floor measured in the same run: the same 50
rows, read by one plain query and rendered as a bare table. Fails when a promise is not kept.
"""

import gzip
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

PATIENTS = 500
ROUNDS = 15
MOST_QUERIES = 12
MOST_BYTES = 150_000

BARE = """<table>{% for o in rows %}<tr><td>{{ o.patient.full_name }}</td><td>{{ o.patient.mrn }}
</td><td>{{ o.patient.birth_date }}</td><td>{{ o.procedure.name }}</td><td>{{ o.or_date }}</td></tr>
{% endfor %}</table>"""


def main() -> int:
    """Build, measure, print; 1 when a promise is not kept."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ["CLINIC_DATA_DIR"] = folder
        os.environ["DJANGO_SETTINGS_MODULE"] = "clinic.settings"
        os.environ["LOG_LEVEL"] = "ERROR"
        for name in ("DATABASE_URL", "CLINIC_PRODUCTION", "REDIS_URL"):
            os.environ.pop(name, None)
        return measure()


def measure() -> int:
    """Everything that needs Django, which may only be imported once its settings are chosen."""
    import django  # noqa: PLC0415

    django.setup()

    from django.core.management import call_command  # noqa: PLC0415
    from django.db import connection  # noqa: PLC0415
    from django.template import engines  # noqa: PLC0415
    from django.test import Client  # noqa: PLC0415

    from clinic.models import StaffUser  # noqa: PLC0415
    from education.assign import require  # noqa: PLC0415
    from education.invite import invite  # noqa: PLC0415
    from education.models import Assignment  # noqa: PLC0415
    from education.publish import publish  # noqa: PLC0415
    from education.rules.module_text import read_module  # noqa: PLC0415
    from patients import programme  # noqa: PLC0415
    from patients.clock import now  # noqa: PLC0415
    from patients.contact import log_contact  # noqa: PLC0415
    from patients.models import Means, Operation, Outcome, Procedure  # noqa: PLC0415
    from patients.register import enrol  # noqa: PLC0415
    from patients.schedule import book  # noqa: PLC0415

    call_command("migrate", verbosity=0)
    at = now()
    programme.found(name="Larkfield", time_zone="America/Chicago", phone="312 555 0142", at=at)
    on = programme.local_day(at)
    member = StaffUser.objects.create_user(
        "d@larkfield.example", "A Dietitian", "dietitian", "x" * 14
    )
    procedure = Procedure.objects.create(code="SLV", name="Sleeve gastrectomy")
    with open("education/starter/before_your_operation.toml", encoding="utf-8") as file:
        module = publish(read_module(file.read()), at=at).module
    require(procedure, module, opens_days=-60, clear_by_days=-7, at=at)
    for number in range(PATIENTS):
        patient = enrol(
            mrn=f"LF-{number:05}",
            given_names=f"Given{number}",
            family_names=f"Family{number}",
            birth_date=date(1950, 1, 1) + timedelta(days=31 * number),
            email=f"reader{number}@example.org" if number % 3 else "",
            phone="312 555 0100",
            at=at,
        )
        book(
            patient=patient,
            procedure=procedure,
            or_date=on + timedelta(days=number % 17),
            at=at,
        )
        if number % 2:
            log_contact(
                patient, means=Means.CALL, outcome=Outcome.NO_ANSWER, at=at, by_id=member.pk
            )
    for assignment in Assignment.objects.order_by("id")[: PATIENTS // 2]:
        invite(assignment, at=at)

    client = Client(headers={"host": "127.0.0.1"})
    client.force_login(member, backend="django.contrib.auth.backends.ModelBackend")
    client.get("/morning/")
    made: list[str] = []

    def count(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        made.append(sql)
        return execute(sql, params, many, context)

    with connection.execute_wrapper(count):
        response = client.get("/morning/")
    html = response.content
    bare = engines["django"].from_string(BARE)
    plain = Operation.objects.select_related("patient", "procedure").order_by("or_date", "id")
    ours = median_ms(lambda: client.get("/morning/"))
    floor = median_ms(lambda: bare.render({"rows": plain[:50]}))

    print(f"patients flagged   {PATIENTS}")
    print(f"rows on the page   {html.count(b'<tr id=')}")
    print(f"queries            {len(made)} (at most {MOST_QUERIES})")
    print(f"bytes              {len(html)} (at most {MOST_BYTES}), gzip {len(gzip.compress(html))}")
    print(
        f"time               {ours:.1f} ms, {ours / floor:.1f} times a bare table's {floor:.1f} ms"
    )
    kept = len(made) <= MOST_QUERIES and len(html) <= MOST_BYTES and response.status_code == 200
    print("kept" if kept else "NOT KEPT")
    return 0 if kept else 1


def median_ms(act: Callable[[], object]) -> float:
    """Return the median time of an act, in milliseconds."""
    times = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        act()
        times.append((time.perf_counter() - began) * 1000)
    return statistics.median(times)


if __name__ == "__main__":
    sys.exit(main())
