"""What tests/benchmarks/at_scale.py measures, in a process whose settings are chosen already."""

import os
import statistics
import sys
import time
from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

os.environ["DJANGO_SETTINGS_MODULE"] = "clinic.settings"

import django
import psycopg

django.setup()

from django.core.management import call_command  # noqa: E402 - only after the setup
from django.db import connection  # noqa: E402
from django.test import Client  # noqa: E402

from clinic.confirmable import confirmable, with_mrn  # noqa: E402
from clinic.models import StaffUser  # noqa: E402
from clinic.operation_list import Show, Which  # noqa: E402
from clinic.operation_rows import rows_with_answers  # noqa: E402
from clinic.search import find_operations  # noqa: E402
from clinic.unsettled import unsettled  # noqa: E402
from clinic.views.operations import PAGE  # noqa: E402
from patients import programme  # noqa: E402
from patients.clock import now  # noqa: E402
from patients.models import Operation, Patient  # noqa: E402
from patients.prepared import read  # noqa: E402
from tests.benchmarks.big_register import fill  # noqa: E402

ROUNDS, SECONDS = 30, 4.0  # at least so many, and for so long
MOST = 3.0

# Everything that a row shows: the operation, whose it is, each module's dates and clearances, the
# waivers and sign-offs, the latest link and how far the quiz is, and who confirmed.
ROWS = """
SELECT o.*, p.*, pr.name, c.*, staff.name, a.*, m.code,
    (SELECT array_agg((cl.cleared_on, cl.evidence, so.id)) FROM education_clearance cl
        LEFT JOIN education_revocation r ON r.clearance_id = cl.id
        LEFT JOIN education_signoff so ON so.clearance_id = cl.id AND so.assignment_id = a.id
        WHERE cl.patient_id = o.patient_id AND cl.module_id = a.module_id AND r.id IS NULL),
    EXISTS (SELECT FROM education_waiver w LEFT JOIN education_waiverrevocation wr
        ON wr.waiver_id = w.id WHERE w.assignment_id = a.id AND wr.id IS NULL),
    (SELECT array_agg((i.id, t.id, s.passed, s.unsafe, d.verdict, d.patient_id))
        FROM education_invitation i
        LEFT JOIN education_invitationend e ON e.invitation_id = i.id
        LEFT JOIN education_message ms ON ms.invitation_id = i.id
        LEFT JOIN education_attempt t ON t.invitation_id = i.id
        LEFT JOIN education_submission s ON s.attempt_id = t.id
        LEFT JOIN LATERAL (SELECT verdict, patient_id FROM education_identitydecision d
            WHERE d.submission_id = s.id ORDER BY number DESC LIMIT 1) d ON true
        WHERE i.assignment_id = a.id)
FROM ({operations}) o
JOIN patients_patient p ON p.id = o.patient_id
JOIN patients_procedure pr ON pr.id = o.procedure_id
LEFT JOIN LATERAL (SELECT * FROM clinic_confirmation c WHERE c.operation_id = o.id
    ORDER BY id DESC LIMIT 1) c ON true
LEFT JOIN clinic_staffuser staff ON staff.id = c.by_id
LEFT JOIN education_assignment a ON a.operation_id = o.id AND NOT a.closed
LEFT JOIN education_module m ON m.id = a.module_id
ORDER BY o.or_date, o.id, a.clear_by, a.id
"""
OF_A_WEEK = """SELECT * FROM patients_operation WHERE or_date BETWEEN %s AND %s
    ORDER BY or_date, id LIMIT %s"""
OF_A_PATIENT = """SELECT o.* FROM patients_operation o JOIN patients_patient p
    ON p.id = o.patient_id WHERE lower(trim(p.mrn)) = lower(trim(%s))
    AND o.booking IN ('proposed', 'confirmed', 'on_hold')"""
NOT_CLEARED = """
SELECT o.id FROM patients_operation o
WHERE o.or_date >= %(on)s AND o.booking = 'confirmed' AND (NOT EXISTS (
        SELECT FROM education_assignment a WHERE a.operation_id = o.id AND NOT a.closed
        AND a.due_before_operation)
    OR EXISTS (SELECT FROM education_assignment a WHERE a.operation_id = o.id AND NOT a.closed
        AND a.due_before_operation
        AND NOT EXISTS (SELECT FROM education_waiver w WHERE w.assignment_id = a.id
            AND NOT EXISTS (SELECT FROM education_waiverrevocation r WHERE r.waiver_id = w.id))
        AND NOT EXISTS (SELECT FROM education_clearance c WHERE c.patient_id = o.patient_id
            AND c.module_id = a.module_id AND c.cleared_on BETWEEN a.opens_on AND a.clear_by
            AND NOT EXISTS (SELECT FROM education_revocation r WHERE r.clearance_id = c.id))))
   OR o.booking IN ('confirmed', 'proposed') AND o.or_date >= %(on)s AND EXISTS (
        SELECT FROM clinic_confirmation c WHERE c.operation_id = o.id
        AND c.or_date <> o.or_date AND NOT EXISTS (SELECT FROM clinic_confirmation d
            WHERE d.operation_id = o.id AND d.id > c.id))
"""
FOUND = """
SELECT o.*, p.*, pr.name FROM patients_operation o
JOIN patients_patient p ON p.id = o.patient_id
JOIN patients_procedure pr ON pr.id = o.procedure_id
WHERE p.merged_into_id IS NULL {words}
ORDER BY o.booking IN ('done', 'cancelled'), o.or_date, o.id LIMIT 51
"""
IDLE = """
SELECT p.* FROM patients_patient p WHERE p.merged_into_id IS NULL {words}
AND NOT EXISTS (SELECT FROM patients_operation o WHERE o.patient_id = p.id)
ORDER BY family_names, given_names, id LIMIT 50
"""
WORD = " AND p.id IN (SELECT patient_id FROM patients_searchword WHERE word LIKE %s)"


class Measured(NamedTuple):
    """Best milliseconds of the product and of the hand-written query, rows, and queries made."""

    what: str
    ours: float
    floor: float
    rows: int
    queries: int

    @property
    def ratio(self) -> float:
        """How many times as long."""
        return self.ours / self.floor


def main() -> int:
    """Fill, measure, print; 1 when a promise is not kept."""
    patients, operations = map(int, sys.argv[1:])
    call_command("migrate", verbosity=0)
    at = now()
    programme.found(name="Larkfield", time_zone="America/Chicago", phone="312 555 0142", at=at)
    on = programme.local_day(at)
    began = time.perf_counter()
    fill(patients, operations, at=at, on=on)
    print(f"{patients:,} patients, {operations:,} operations to come, filled in", end=" ")
    print(f"{time.perf_counter() - began:.0f} s")
    with psycopg.connect(os.environ["DATABASE_URL"], autocommit=True) as raw:
        measured = [week(raw, on=on, at=at), changed(raw, on=on, at=at)]
        measured += [search(raw, text) for text in searches()]
        measured.append(one_standing(raw, at=at))
    print(f"{'':<46}{'ours':>8}{'query':>8}{'times':>7}{'rows':>6}{'queries':>9}")
    for one in measured:
        print(
            f"{one.what:<46}{one.ours:8.1f}{one.floor:8.1f}{one.ratio:7.1f}"
            f"{one.rows:6}{one.queries:9}"
        )
    page(on)
    grows = constant(on=on, at=at)
    late = [one.what for one in measured if one.ratio > MOST]
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")
    print("kept" if not late and not grows else f"NOT KEPT: {', '.join(late)} {grows}")
    return 1 if late or grows else 0


def week(raw: Any, *, on: date, at: datetime) -> Measured:
    """The first page of the week with the most operations ready."""
    which = Which(Show.WEEK, _monday(on), on)

    def ours() -> int:
        return len(rows_with_answers(read(which.rows()[:PAGE]), at=at))

    query = ROWS.format(operations=OF_A_WEEK)
    values = [which.monday, which.sunday, PAGE]
    return measure("a page of the week, each with its answer", ours, raw, query, values)


def changed(raw: Any, *, on: date, at: datetime) -> Measured:
    """What stands at the top of the page."""
    return measure(
        "what changed under a confirmation",
        lambda: len(unsettled(at=at)),
        raw,
        NOT_CLEARED,
        {"on": on},
    )


def searches() -> list[str]:
    """A common name, a rare one, a date of birth, an MRN, and what a caller says of one person."""
    rare = Patient.objects.exclude(family_names__contains=" ").order_by("-pk")[7]
    return [
        "mar",
        rare.family_names,
        f"{rare.birth_date:%Y-%m-%d}",
        rare.mrn,
        f"{rare.family_names[:4]} {rare.birth_date:%-d %b %Y} {rare.given_names.split()[0]}",
    ]


def search(raw: Any, text: str) -> Measured:
    """One search, against the same two questions by hand."""
    from patients.rules.search_words import read_search  # noqa: PLC0415

    words = [one.days[0].isoformat() if one.days else f"{one.begins}%" for one in read_search(text)]
    where = WORD * len(words)

    def ours() -> int:
        found = find_operations(text)
        return len(found.operations) + len(found.without_operation)

    def floor() -> None:
        raw.execute(FOUND.format(words=where), words).fetchall()
        raw.execute(IDLE.format(words=where), words).fetchall()

    kind = "search: " + " + ".join("a date" if w[:2].isdigit() else "a word" for w in words)
    rows = ours()
    return Measured(f"{kind} ({rows} found)", *alternately(ours, floor), rows, queries_of(ours))


def one_standing(raw: Any, *, at: datetime) -> Measured:
    """What `manage.py confirmable` asks, without its printing."""
    soon = Operation.objects.filter(or_date__gt=programme.local_day(at)).order_by("or_date", "id")
    mrn = soon.select_related("patient")[3].patient.mrn

    def ours() -> int:
        return len(confirmable(with_mrn(mrn), at=at).given)

    return measure("one standing by MRN", ours, raw, ROWS.format(operations=OF_A_PATIENT), [mrn])


def measure(what: str, ours: Callable[[], int], raw: Any, query: str, values: Any) -> Measured:
    """Measure something beside its query."""
    return Measured(
        what,
        *alternately(ours, lambda: raw.execute(query, values).fetchall()),
        ours(),
        queries_of(ours),
    )


def alternately(ours: Callable[[], object], floor: Callable[[], object]) -> tuple[float, float]:
    """Return the best milliseconds of both, asked in turn.

    The best, because that is what remains on a machine that is busy with something else as well;
    what is short is asked more often, since each answer then waits for a busy processor more often.
    """
    times: tuple[list[float], list[float]] = ([], [])
    ends = time.perf_counter() + SECONDS
    while len(times[0]) < ROUNDS or time.perf_counter() < ends:
        for act, taken in zip((ours, floor), times, strict=True):
            began = time.perf_counter()
            act()
            taken.append((time.perf_counter() - began) * 1000)
    return min(times[0]), min(times[1])


def queries_of(act: Callable[[], object]) -> int:
    """Count the queries of an act."""
    made: list[str] = []

    def count(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        made.append(sql)
        return execute(sql, params, many, context)

    with connection.execute_wrapper(count):
        act()
    return len(made)


def constant(*, on: date, at: datetime) -> str:
    """Say what asks more queries for ten times as many rows; empty when nothing does."""
    which = Which(Show.WEEK, _monday(on), on)
    few = queries_of(lambda: rows_with_answers(read(which.rows()[: PAGE // 10]), at=at))
    many = queries_of(lambda: rows_with_answers(read(which.rows()[:PAGE]), at=at))
    print(f"queries for {PAGE // 10} and {PAGE} operations: {few} and {many}")
    return "" if few == many else "the queries grow"


def page(on: date) -> None:
    """The whole page, as a browser gets it."""
    client = Client(headers={"host": "127.0.0.1"})
    client.force_login(
        StaffUser.objects.get(email="b@larkfield.example"),
        backend="django.contrib.auth.backends.ModelBackend",
    )
    for what, address in (
        ("week", f"/operations/?week={_monday(on)}"),
        ("search", "/operations/?q=mar"),
    ):
        client.get(address)
        times = []
        for _ in range(5):
            began = time.perf_counter()
            response = client.get(address)
            times.append((time.perf_counter() - began) * 1000)
            assert response.status_code == 200
        size = len(response.content)
        print(f"the whole page, {what}: {statistics.median(times):.0f} ms, {size:,} bytes")


def _monday(on: date) -> date:
    """The next week, where most is ready and confirmed."""
    return on - timedelta(days=on.weekday()) + timedelta(days=7)


if __name__ == "__main__":
    sys.exit(main())
