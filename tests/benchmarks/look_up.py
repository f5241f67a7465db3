"""How long one claim takes on PostgreSQL: look-up and scoring, as the site does it.

Run by `python -m tests.benchmarks.identity postgres`, which starts the server and says where it
is. Puts people on the register, with the product's own keys, and asks about claims one after
another. The floors, in the same run: reading one patient by primary key; and the very statements of
the claims, sent by libpq alone, with nothing done between them or with what they bring.
"""

import argparse
import gc
import os
import random
import sys
import time
from datetime import UTC, datetime
from typing import Any
from unittest.mock import patch

os.environ["DJANGO_SETTINGS_MODULE"] = "clinic.settings"

import django

django.setup()

from django.core.management import call_command  # noqa: E402 - only after the setup
from django.db import connection  # noqa: E402
from django.test.utils import CaptureQueriesContext  # noqa: E402
from psycopg.pq import ExecStatus  # noqa: E402

from patients import kept_plans, lookup  # noqa: E402
from patients.lookup import whose  # noqa: E402
from patients.match_keys import keep, rebuild  # noqa: E402
from patients.models import MatchKey, MatchName, Patient  # noqa: E402
from patients.rules.identity import Claim, NameKind, Policy, Verdict  # noqa: E402
from patients.rules.identity_keys import keys_of  # noqa: E402
from patients.rules.names import name_key, normal_name  # noqa: E402
from tests.benchmarks import people  # noqa: E402
from tests.benchmarks.scores import percentile  # noqa: E402

AT = datetime(2026, 1, 1, tzinfo=UTC)
WARMING, ASKED = 300, 3000  # claims


def main() -> int:
    """Load, warm up, measure, print; 1 if the look-up is slower than its limit."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--people", type=int, required=True)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--limit", type=float, required=True, help="p99 in milliseconds")
    parser.add_argument("--rebuild", action="store_true")
    options = parser.parse_args()
    call_command("migrate", verbosity=0)
    town = people.make(options.people, WARMING + ASKED, options.seed)
    started = time.perf_counter()
    load(town.register)
    print(f"\nPostgreSQL, {options.people:,} people, {ASKED:,} claims one after another", end="")
    print(f" (loaded in {time.perf_counter() - started:.0f} s, {MatchKey.objects.count():,} keys)")
    check(town.register)
    gc.collect()
    gc.freeze()  # the town is the benchmark's: a site does not look through it for garbage
    first, queries = asked_of(town.claims[:WARMING]), counted(town.claims[WARMING : WARMING + 300])
    floor = floor_of(options.people)
    times, automatic = asked_of(town.claims[WARMING:])
    floor += floor_of(options.people)
    alone = statements_alone(town.claims[WARMING:])
    again = [asked_of(town.claims[WARMING:])[0] for _ in range(2)]
    quiet = [min(three) for three in zip(times, *again, strict=True)]
    print(f"  {'':<34}{'p50':>9}{'p90':>9}{'p99':>9}{'most':>9}")
    for what, some in (
        ("one patient by primary key", floor),
        ("the claims' statements alone", alone),
        ("look-up and scoring", times),
        # What remains on a machine that is busy with something else as well.
        ("each claim's best of three", quiet),
        ("processor time outside PostgreSQL", own_time(town.claims[WARMING:])),
    ):
        values = [*(percentile(some, p) for p in (50, 90, 99)), max(some)]
        print(f"  {what:<34}" + "".join(f"{value:>9.2f}" for value in values) + "  ms")
    p99, limit = percentile(times, 99), options.limit
    print(f"  queries a claim, mean and most    {sum(queries) / len(queries):.2f} {max(queries)}")
    print(f"  first {WARMING} claims, p99         {percentile(first[0], 99):.2f} ms")
    print(
        f"  p50 in multiples of the floor's   {percentile(times, 50) / percentile(floor, 50):.1f}"
    )
    print(f"  matched automatically             {automatic / ASKED:.4f}")
    if options.rebuild:
        for what in ("no search words", "all true"):
            started = time.perf_counter()
            rebuild()
            print(f"  rebuild, {what:<26}{time.perf_counter() - started:>8.1f} s")
    print(f"  load {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")
    print(f"  p99 {p99:.2f} ms, asked <= {limit:g} ms: {'kept' if p99 <= limit else 'MISSED'}")
    return 0 if p99 <= limit else 1


def load(register: list[people.Patient]) -> None:
    """Write patients, their names and their keys, as `patients.match_keys` would one by one."""
    names = [
        (p.patient_id, normal_name(p.given_name, p.family_name), p.date_of_birth) for p in register
    ]
    Patient.objects.bulk_create(
        (
            Patient(
                id=p.patient_id,
                mrn=f"B{p.patient_id:07}",
                given_names=p.given_name,
                family_names=p.family_name,
                birth_date=p.date_of_birth,
                name_key=name_key(p.given_name, p.family_name),
                recorded_at=AT,
            )
            for p in register
        ),
        batch_size=5000,
    )
    MatchName.objects.bulk_create(
        (
            MatchName(
                id=pk,
                patient_id=pk,
                kind=NameKind.CURRENT,
                given=str(name.given),
                family=str(name.family),
                generation=name.generation,
                birth_date=born,
            )
            for pk, name, born in names
        ),
        batch_size=5000,
    )
    rows = ((key, pk) for pk, name, born in names for key in sorted(keys_of(name, born)))
    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")  # the foreign keys are known good
        with cursor.copy(f"COPY {MatchKey._meta.db_table} (key, name_id) FROM STDIN") as to:
            for row in rows:
                to.write_row(row)
        cursor.execute("SET session_replication_role = DEFAULT")
        for model in (Patient, MatchName):
            sequence = f"pg_get_serial_sequence('{model._meta.db_table}', 'id')"
            cursor.execute(f"SELECT setval({sequence}, %s)", [len(names)])
        cursor.execute("VACUUM ANALYZE")
        cursor.execute("CHECKPOINT")  # else what was loaded is written out while others measure


def check(register: list[people.Patient]) -> None:
    """Fail if the product would have written other rows than `load` did."""
    some = random.Random(0).sample([p.patient_id for p in register], min(2000, len(register)))
    before = MatchKey.objects.order_by("-pk").values_list("pk", flat=True)[:1][0]
    keep(some)
    if MatchKey.objects.filter(pk__gt=before).exists():
        raise SystemExit("patients.match_keys.keep has other keys than the benchmark loaded")


def ask(asked: people.Asked) -> Verdict:
    """Ask whose a claim is."""
    claim = Claim(asked.given_name, asked.family_name, asked.date_of_birth)
    return whose(claim, link_patient_id=None, policy=Policy.NAME_AND_BIRTH_DATE).verdict


def asked_of(claims: list[people.Asked]) -> tuple[list[float], int]:
    """Return the milliseconds of each claim, and how many were matched automatically."""
    times: list[float] = []
    automatic = 0
    for asked in claims:
        started = time.perf_counter()
        verdict = ask(asked)
        times.append((time.perf_counter() - started) * 1000)
        automatic += verdict == Verdict.AUTOMATIC
    return times, automatic


def counted(claims: list[people.Asked]) -> list[int]:
    """Return the number of queries that each claim made."""
    numbers = []
    for asked in claims:
        with CaptureQueriesContext(connection) as made:
            ask(asked)
        numbers.append(len(made))
    return numbers


def statements_alone(claims: list[people.Asked]) -> list[float]:
    """Return the milliseconds that libpq takes for each claim's statements, one after the other."""
    sent: list[tuple[str, list[bytes]]] = []
    rows_of = kept_plans.rows_of

    def noted(database: Any, statement: str, values: list[Any]) -> list[Any]:
        sent.append((statement, [str(value).encode() for value in values]))
        return rows_of(database, statement, values)

    server = connection.connection.pgconn
    names: dict[str, bytes] = {}
    times = []
    for asked in claims:
        sent.clear()
        with patch.object(lookup, "rows_of", noted):
            ask(asked)
        for statement, _ in sent:
            if statement not in names:
                names[statement] = b"alone_%d" % len(names)
                server.prepare(names[statement], statement.encode())
        started = time.perf_counter()
        results = [server.exec_prepared(names[statement], values) for statement, values in sent]
        times.append((time.perf_counter() - started) * 1000)
        if any(result.status != ExecStatus.TUPLES_OK for result in results):
            raise SystemExit("a claim's statement cannot be sent alone")
    return times


def own_time(claims: list[people.Asked]) -> list[float]:
    """Return the milliseconds of processor time that each claim took on this side."""
    times = []
    for asked in claims:
        started = time.process_time()
        ask(asked)
        times.append((time.process_time() - started) * 1000)
    return times


def floor_of(size: int) -> list[float]:
    """Return the milliseconds of reading one patient by primary key, many times."""
    rng = random.Random(1)
    times = []
    for _ in range(ASKED):
        patients = Patient.objects.values_list("given_names", "family_names", "birth_date")
        started = time.perf_counter()
        patients.get(pk=rng.randint(1, size))
        times.append((time.perf_counter() - started) * 1000)
    return times


if __name__ == "__main__":
    sys.exit(main())
