"""A big register for the benchmarks on PostgreSQL: invented people, filled by COPY and SQL.

As many operations to come as are asked for, over a year of working days, and half as many that are
done. Where a window is open most patients were invited, most of those took the quiz, most passed;
where everything is cleared and the date is near most operations are confirmed, some against a
hold, and under a few the clearance was revoked since. The shares are common practice.
"""

import random
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

from django.db import connection

from clinic.models import StaffUser
from education.assign import require
from education.models import Edition, Module
from patients.known_names import known_names
from patients.models import Patient, Procedure, SearchWord
from patients.rules.names import name_key
from patients.rules.search_words import day_word, mrn_words, name_words
from patients.search_words import keep
from tests.benchmarks.composed_names import draw_name

DEFAULTS = {
    "email": "'p@example.org'",
    "phone": "''",
    "language": "'en'",
    "recorded_at": "now()",
    "compare_with_register": "false",
}
NAMES = 100_000  # different ones, of which a larger register draws
# Offsets from the OR date: two modules before it, one after.
WINDOWS = (("diet", -60, -7), ("fluids", -30, -2), ("home", 1, 30))


def fill(patients: int, operations: int, *, at: datetime, on: date, seed: int = 1) -> None:
    """Write everything. The triggers rest meanwhile: they cost most of the time."""
    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")
    _people(patients, seed=seed)
    _teaching(at=at)
    by = StaffUser.objects.create_user("b@larkfield.example", "B", "coordinator", "x" * 14)
    values: dict[str, Any] = {
        "at": at,
        "on": on,
        "by": by.pk,
        "n": operations,
        "patients": patients,
    }
    with connection.cursor() as cursor:
        cursor.execute("SELECT setseed(0.42)")
        for statement in STATEMENTS:
            cursor.execute(statement, values)
        cursor.execute("SET session_replication_role = DEFAULT")
        cursor.execute("VACUUM ANALYZE")
        cursor.execute("CHECKPOINT")  # else what was filled in is written out while others measure
    sample = random.Random(seed).sample(range(1, patients + 1), min(2000, patients))
    if any(keep(sample, known_names(sample), mend=False)):
        raise SystemExit("the product keeps other search words than the benchmark loaded")


class Named(NamedTuple):
    """A name, with what the product derives from it."""

    given: str
    family: str
    key: str
    words: frozenset[str]


def _people(patients: int, *, seed: int) -> None:
    """Drawn twice by one seed, so that a million of them are never in memory together."""
    table = Patient._meta.db_table
    columns = "id, mrn, given_names, family_names, birth_date, name_key"
    names = _names(min(patients, NAMES), seed)
    with connection.cursor() as cursor:
        for column, value in DEFAULTS.items():
            cursor.execute(f"ALTER TABLE {table} ALTER {column} SET DEFAULT {value}")
        with cursor.copy(f"COPY {table} ({columns}) FROM STDIN") as copy:
            for pk, name, born in _drawn(patients, names, seed):
                copy.write_row((pk, f"LF-{pk:07}", name.given, name.family, born, name.key))
        with cursor.copy(f"COPY {SearchWord._meta.db_table} (patient_id, word) FROM STDIN") as copy:
            for pk, name, born in _drawn(patients, names, seed):
                for word in name.words | mrn_words(f"LF-{pk:07}") | {day_word(born)}:
                    copy.write_row((pk, word))


def _names(how_many: int, seed: int) -> list[Named]:
    """Composing a name and taking it apart costs most of the time, so each is borne by several."""
    rng = random.Random(seed)
    drawn = [draw_name(rng) for _ in range(how_many)]
    return [
        Named(
            name.given,
            name.family,
            name_key(name.given, name.family)[:420],
            frozenset(name_words(name.given, name.family)),
        )
        for name in drawn
    ]


def _drawn(patients: int, names: list[Named], seed: int) -> Iterator[tuple[int, Named, date]]:
    rng, first = random.Random(seed), date(1948, 1, 1)
    for pk in range(1, patients + 1):
        yield pk, rng.choice(names), first + timedelta(days=rng.randrange(21_900))


def _teaching(*, at: datetime) -> None:
    procedure = Procedure.objects.create(code="SLV", name="Sleeve gastrectomy")
    for code, opens, clear_by in WINDOWS:
        module = Module.objects.create(code=code)
        Edition.objects.create(
            module=module,
            number=1,
            title={"en": f"About {code}"},
            languages=["en"],
            pass_mark=80,
            recorded_at=at,
        )
        require(procedure, module, opens_days=opens, clear_by_days=clear_by, at=at)


STATEMENTS = (
    # Every n-th patient has an operation to come; half as many had one, of other patients.
    """INSERT INTO patients_operation (id, patient_id, procedure_id, case_number, surgeon, facility,
           or_date, booking, version, recorded_at)
       SELECT j, 1 + (j - 1) * (%(patients)s / %(n)s), 1, 'C-' || j, 'Dr. ' || (j %% 9), 'East',
           day, CASE WHEN random() < 0.03 THEN 'on_hold' ELSE 'proposed' END, 1, %(at)s
       FROM (SELECT j, (%(on)s)::date + (k / 5) * 7 + k %% 5
               - (extract(isodow FROM (%(on)s)::date)::int - 1) + 7 AS day
             FROM (SELECT j, (j * 7919 %% 255)::int AS k FROM generate_series(1, %(n)s) j) a) b""",
    """INSERT INTO patients_operation (id, patient_id, procedure_id, case_number, surgeon, facility,
           or_date, booking, version, recorded_at)
       SELECT %(n)s + j, 2 + (j - 1) * (%(patients)s / %(n)s), 1, 'D-' || j, 'Dr. 1', 'East',
           (%(on)s)::date - 1 - (j %% 700)::int, 'done', 2, %(at)s
       FROM generate_series(1, %(n)s / 2) j""",
    """INSERT INTO education_assignment (operation_id, module_id, opens_on, clear_by,
           due_before_operation, closed, recorded_at)
       SELECT o.id, r.module_id, o.or_date + r.opens_days, o.or_date + r.clear_by_days,
           r.clear_by_days <= 0, o.booking = 'done' AND r.clear_by_days <= 0, %(at)s
       FROM patients_operation o, education_requirement r ORDER BY o.id, r.id""",
    """INSERT INTO education_invitation (id, assignment_id, address, expires_at, recorded_at, by_id)
       SELECT row_number() OVER (ORDER BY id), id, 'p@example.org', (%(on)s)::date + 60,
           opens_on + time '12:00', %(by)s
       FROM education_assignment WHERE opens_on < (%(on)s)::date AND id %% 10 > 0""",
    """INSERT INTO education_message (purpose, patient_id, invitation_id, address, language,
           message_id, state, tries, next_try_at, problem, recorded_at, sent_at)
       SELECT 'invitation', o.patient_id, i.id, i.address, 'en', 'm' || i.id, 'sent', 1,
           i.recorded_at, '', i.recorded_at, i.recorded_at
       FROM education_invitation i JOIN education_assignment a ON a.id = i.assignment_id
           JOIN patients_operation o ON o.id = a.operation_id""",
    """INSERT INTO education_attempt (id, invitation_id, edition_id, number, recorded_at)
       SELECT i.id, i.id, a.module_id, 1, i.recorded_at + interval '1 hour'
       FROM education_invitation i JOIN education_assignment a ON a.id = i.assignment_id
       WHERE i.id %% 8 > 0""",
    """INSERT INTO education_submission (id, attempt_id, edition_id, language, given_names,
           family_names, birth_date, "right", total, passed, unsafe, recorded_at)
       SELECT t.id, t.id, t.edition_id, 'en', p.given_names, p.family_names, p.birth_date, 9, 10,
           t.id %% 11 > 0, '[]', t.recorded_at + interval '20 minutes'
       FROM education_attempt t JOIN education_invitation i ON i.id = t.invitation_id
           JOIN education_assignment a ON a.id = i.assignment_id
           JOIN patients_operation o ON o.id = a.operation_id
           JOIN patients_patient p ON p.id = o.patient_id
       WHERE t.id %% 17 > 0""",
    """INSERT INTO education_identitydecision (id, submission_id, number, verdict, patient_id,
           reasons, note, recorded_at)
       SELECT s.id, s.id, 1, 'matched_automatically', o.patient_id, '[]', '', s.recorded_at
       FROM education_submission s JOIN education_invitation i ON i.id = s.attempt_id
           JOIN education_assignment a ON a.id = i.assignment_id
           JOIN patients_operation o ON o.id = a.operation_id
       WHERE s.id %% 97 > 0""",
    """INSERT INTO education_clearance (id, patient_id, module_id, edition_id, cleared_on, evidence,
           decision_id, note, recorded_at)
       SELECT d.id, d.patient_id, s.edition_id, s.edition_id, s.recorded_at::date, 'quiz', d.id, '',
           d.recorded_at
       FROM education_identitydecision d JOIN education_submission s ON s.id = d.submission_id
       WHERE s.passed""",
    """INSERT INTO education_waiver (assignment_id, reason, recorded_at, by_id)
       SELECT id, 'taught elsewhere', %(at)s, %(by)s FROM education_assignment
       WHERE NOT closed AND id %% 101 = 0""",
    # Confirmed: what is near and cleared; every fortieth of the near ones against a hold.
    """CREATE TEMP TABLE near AS
       SELECT o.id, bool_and(EXISTS (SELECT FROM education_clearance c
               WHERE c.patient_id = o.patient_id AND c.module_id = a.module_id
               AND c.cleared_on BETWEEN a.opens_on AND a.clear_by)) AS clear
       FROM patients_operation o JOIN education_assignment a ON a.operation_id = o.id
       WHERE a.due_before_operation AND o.booking = 'proposed'
           AND o.or_date < (%(on)s)::date + 60 GROUP BY o.id""",
    """UPDATE patients_operation SET booking = 'confirmed', version = 2
       WHERE id IN (SELECT id FROM near WHERE clear AND id %% 10 > 1 OR id %% 40 = 0)""",
    """INSERT INTO clinic_confirmation (operation_id, or_date, version, word, reasons, against_hold,
           clinician, clinician_reason, recorded_at, by_id)
       SELECT o.id, o.or_date, 2, CASE WHEN clear THEN 'confirm' ELSE 'hold' END,
           CASE WHEN clear THEN '[]'::jsonb
               ELSE '["not_cleared", "diet: late", "fluids: late"]'::jsonb END,
           NOT clear, CASE WHEN clear THEN '' ELSE 'Dr. 1' END,
           CASE WHEN clear THEN '' ELSE 'it cannot wait' END, %(at)s, %(by)s
       FROM patients_operation o JOIN near ON near.id = o.id WHERE o.booking = 'confirmed'""",
    """INSERT INTO education_revocation (clearance_id, reason, recorded_at, by_id)
       SELECT c.id, 'her sister', %(at)s, %(by)s FROM education_clearance c
       WHERE c.id %% 499 = 0""",
)
