"""Measured by tests/benchmarks/item_statistics.py, in a process of its own for each database."""

import os
import random
import sys
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import django

os.environ["DJANGO_SETTINGS_MODULE"] = "clinic.settings"
django.setup()

from django.core.management import call_command  # noqa: E402 - only after the setup
from django.db import connection, transaction  # noqa: E402

from education.models import (  # noqa: E402
    Assignment,
    Attempt,
    Edition,
    IdentityDecision,
    Invitation,
    Submission,
    SubmissionAnswer,
)
from education.publish import publish  # noqa: E402
from education.quiz_answers import Asked  # noqa: E402
from education.quiz_measured import measured  # noqa: E402
from patients import programme  # noqa: E402
from patients.models import Booking, Operation, Patient, Procedure  # noqa: E402
from patients.rules.names import name_key  # noqa: E402
from tests.education.short_module import short_module  # noqa: E402

LIMIT = 2.0  # seconds for 10,000 quizzes
QUESTIONS = 12
AT = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)

COUNT_BY_HAND = """
SELECT a.question_id, a."right", a.given, s."right", count(*)
FROM education_submissionanswer a JOIN education_submission s ON s.id = a.submission_id
WHERE s.edition_id = %s GROUP BY 1, 2, 3, 4
"""
READ_ALL = 'SELECT submission_id, question_id, "right", given FROM education_submissionanswer'


def main() -> int:
    """Fill the database and measure; 1 when it takes too long."""
    quizzes = int(sys.argv[1])
    call_command("migrate", verbosity=0)
    edition = _fill(quizzes)
    result = measured(Asked(edition))
    counting = _best(lambda: _by_hand(COUNT_BY_HAND, edition.pk))
    reading = _best(lambda: _by_hand(READ_ALL))
    whole = _best(lambda: measured(Asked(edition)))
    print(
        f"  {result.counted.quizzes} first tries of {quizzes} quizzes, {QUESTIONS} questions: "
        f"{whole:.2f} s (limit {LIMIT:g} s for 10,000)\n"
        f"  floors: counted by hand {counting:.2f} s ({whole / counting:.1f} times), "
        f"all answers read {reading:.2f} s ({whole / reading:.1f} times)"
    )
    return int(whole > LIMIT * max(1, quizzes / 10_000))


def _by_hand(statement: str, *values: Any) -> int:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return len(cursor.fetchall())


def _best(act: Callable[[], Any]) -> float:
    """Return the shortest of five runs: others on the machine only make one longer."""
    taken = []
    for _ in range(5):
        begun = time.perf_counter()
        act()
        taken.append(time.perf_counter() - begun)
    return min(taken)


@transaction.atomic
def _fill(quizzes: int) -> Edition:
    """Write quizzes of patients who know more or less, the last tenth of them second tries."""
    programme.found(name="Larkfield", time_zone="America/Chicago", phone="1", at=AT)
    edition = publish(short_module(questions=QUESTIONS), at=AT)
    patients = _patients(quizzes - quizzes // 10)
    attempts = _attempts(patients, edition, quizzes)
    chance = random.Random(20261128)
    knowing = [chance.betavariate(8, 2) for _ in attempts]
    sheets = [[chance.random() < knows for _ in range(QUESTIONS)] for knows in knowing]
    submissions = Submission.objects.bulk_create(
        Submission(
            attempt=attempt,
            edition=edition,
            language="en",
            given_names="Given",
            birth_date=date(1970, 1, 1),
            right=sum(sheet),
            total=QUESTIONS,
            passed=sum(sheet) >= 10,
            recorded_at=AT + timedelta(minutes=n),
        )
        for n, (attempt, sheet) in enumerate(zip(attempts, sheets, strict=True))
    )
    _answers(submissions, sheets, edition)
    IdentityDecision.objects.bulk_create(
        IdentityDecision(
            submission=submission,
            number=1,
            verdict="matched_automatically",
            patient=patients[n % len(patients)],
            recorded_at=AT,
        )
        for n, submission in enumerate(submissions)
    )
    return edition


def _patients(count: int) -> list[Patient]:
    return Patient.objects.bulk_create(
        Patient(
            mrn=f"M-{n}",
            given_names="Given",
            family_names=f"Family{n}",
            birth_date=date(1970, 1, 1) + timedelta(days=n % 9000),
            name_key=name_key("Given", f"Family{n}"),
            recorded_at=AT,
        )
        for n in range(count)
    )


def _attempts(patients: list[Patient], edition: Edition, count: int) -> list[Attempt]:
    procedure = Procedure.objects.create(code="SLV", name="Sleeve gastrectomy")
    operations = Operation.objects.bulk_create(
        Operation(patient=one, procedure=procedure, booking=Booking.PROPOSED, recorded_at=AT)
        for one in patients
    )
    assignments = Assignment.objects.bulk_create(
        Assignment(
            operation=operation,
            module=edition.module,
            due_before_operation=True,
            recorded_at=AT,
        )
        for operation in operations
    )
    invitations = Invitation.objects.bulk_create(
        Invitation(
            assignment=assignment,
            address="reader@example.org",
            expires_at=AT + timedelta(days=60),
            recorded_at=AT,
        )
        for assignment in assignments
    )
    return Attempt.objects.bulk_create(
        Attempt(
            invitation=invitations[n % len(patients)],
            edition=edition,
            number=1 + n // len(patients),
            recorded_at=AT,
        )
        for n in range(count)
    )


def _answers(submissions: list[Submission], sheets: list[list[bool]], edition: Edition) -> None:
    questions = list(edition.questions.prefetch_related("options"))
    options = [{o.right: o.pk for o in question.options.all()} for question in questions]
    SubmissionAnswer.objects.bulk_create(
        (
            SubmissionAnswer(
                submission=submission,
                question=question,
                given={"options": [option[right]]},
                right=right,
            )
            for submission, sheet in zip(submissions, sheets, strict=True)
            for question, right, option in zip(questions, sheet, options, strict=True)
        ),
        batch_size=5_000,
    )


if __name__ == "__main__":
    sys.exit(main())
