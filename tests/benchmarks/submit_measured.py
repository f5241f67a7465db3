"""Measured by tests/benchmarks/submit.py, in a process of its own for each database."""

import json
import os
import statistics
import sys
import time
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import django

os.environ["DJANGO_SETTINGS_MODULE"] = "clinic.settings"
django.setup()

from django.core.management import call_command  # noqa: E402 - only after the setup
from django.db import connection, transaction  # noqa: E402
from django.http import HttpRequest, HttpResponse  # noqa: E402
from django.test import Client  # noqa: E402
from django.test.utils import CaptureQueriesContext, setup_test_environment  # noqa: E402
from django.urls import path  # noqa: E402
from django.views.decorators.csrf import csrf_exempt  # noqa: E402

from clinic import urls  # noqa: E402
from education.models import (  # noqa: E402
    Attempt,
    Clearance,
    IdentityDecision,
    IdentityVerdict,
    Message,
    MessageState,
    Question,
    Submission,
    SubmissionAnswer,
)
from education.publish import publish  # noqa: E402
from education.rules.standing import Evidence  # noqa: E402
from education.take import begin  # noqa: E402
from patients.clock import now  # noqa: E402
from patients.models import Patient  # noqa: E402
from patients.open_to import LINK_HOLDER, open_to  # noqa: E402
from tests.education.phone import Phone  # noqa: E402
from tests.education.short_module import answer, short_module  # noqa: E402
from tests.factories import (  # noqa: E402
    a_patient,
    a_programme,
    an_assignment,
    an_invitation,
    an_operation,
)

LIMIT = 2.0  # times the bare view
QUESTIONS = 12
FIRST_BORN = date(1950, 1, 1)


@csrf_exempt
@open_to(LINK_HOLDER)
def bare(request: HttpRequest) -> HttpResponse:
    """Write what a submit writes, and nothing is asked about it."""
    at = now()
    attempt = Attempt.objects.select_related("edition").get(pk=request.POST["attempt"])
    patient = Patient.objects.get(pk=request.POST["patient"])
    given = json.loads(request.POST["given"])
    with transaction.atomic():
        submission = Submission.objects.create(
            attempt=attempt,
            edition=attempt.edition,
            language="en",
            given_names=patient.given_names,
            family_names=patient.family_names,
            birth_date=patient.birth_date,
            right=QUESTIONS,
            total=QUESTIONS,
            passed=True,
            recorded_at=at,
        )
        SubmissionAnswer.objects.bulk_create(
            SubmissionAnswer(submission=submission, question_id=pk, given=options, right=True)
            for pk, options in given
        )
        decision = IdentityDecision.objects.create(
            submission=submission,
            number=1,
            verdict=IdentityVerdict.MATCHED_AUTOMATICALLY,
            patient=patient,
            reasons=["name_equal", "birth_date_equal"],
            recorded_at=at,
        )
        Clearance.objects.create(
            patient=patient,
            module=attempt.edition.module,
            edition=attempt.edition,
            cleared_on=at.date(),
            evidence=Evidence.QUIZ,
            decision=decision,
            recorded_at=at,
        )
    return HttpResponse(status=303, headers={"Location": "/"})


urls.urlpatterns.insert(0, path("bare/", bare))


def main() -> int:
    """Measure both in turn; 1 when a submit costs more than the limit."""
    quizzes = int(sys.argv[1])
    setup_test_environment()  # the test client names a host of its own
    call_command("migrate", verbosity=0)
    a_programme()
    publish(short_module(questions=QUESTIONS), at=now())
    ours = [_ready(number) for number in range(quizzes)]
    floor = [_bare_ready(number) for number in range(quizzes, 2 * quizzes)]
    with CaptureQueriesContext(connection) as asked:
        _timed(ours.pop())
        queries = len(asked)
    with CaptureQueriesContext(connection) as asked_by_floor:
        _timed(floor.pop())
        queries_of_floor = len(asked_by_floor)
    # In turn, so that whatever else the machine does falls on both.
    both = [(_timed(one), _timed(other)) for one, other in zip(ours, floor, strict=True)]
    whole, bare_time = (statistics.median(times) * 1000 for times in zip(*both, strict=True))
    written = (Submission, SubmissionAnswer, IdentityDecision, Clearance)
    rows = [model._default_manager.count() // (2 * quizzes) for model in written]
    assert rows == [1, QUESTIONS, 1, 1], rows
    print(
        f"  {rows} rows each; submit {whole:.1f} ms, {queries} queries; "
        f"bare view {bare_time:.1f} ms, {queries_of_floor} queries: "
        f"{whole / bare_time:.2f} times (limit {LIMIT:g})"
    )
    return int(whole > LIMIT * bare_time)


def _invited(number: int) -> tuple[Phone, Attempt]:
    patient = a_patient(
        given_names=f"Given{number}",
        family_names=f"Family{number}",
        birth_date=FIRST_BORN + timedelta(days=number),
    )
    assignment = an_assignment(operation=an_operation(patient=patient))
    phone = Phone(*an_invitation(assignment=assignment))
    # Whoever hands in a quiz came by an email.
    Message.objects.filter(invitation=phone.invitation).update(
        state=MessageState.SENT, sent_at=now()
    )
    attempt = begin(phone.invitation, at=now())
    answer(attempt, "1" * QUESTIONS, at=now())
    return phone, attempt


def _ready(number: int) -> Callable[[], Any]:
    """A phone with everything answered and typed; what is left is the button."""
    phone, attempt = _invited(number)
    patient = attempt.invitation.assignment.operation.patient
    born = patient.birth_date
    phone.type_name(
        given_names=patient.given_names,
        family_names=patient.family_names,
        day=str(born.day),
        month=str(born.month),
        year=str(born.year),
    )
    return lambda: phone.hand_in(attempt.number)


def _bare_ready(number: int) -> Callable[[], Any]:
    _phone, attempt = _invited(number)
    patient = attempt.invitation.assignment.operation.patient
    asked = Question.objects.filter(edition=attempt.edition).prefetch_related("options")
    given = [(q.pk, {"options": [q.options.all()[0].pk]}) for q in asked]
    form = {"attempt": attempt.pk, "patient": patient.pk, "given": json.dumps(given)}
    client = Client()
    return lambda: client.post("/bare/", form)


def _timed(act: Callable[[], Any]) -> float:
    """Seconds of processor and waiting; the answer has to be that it was written."""
    begun = time.perf_counter()
    response = act()
    took = time.perf_counter() - begun
    assert response.status_code == 303, response.status_code
    assert "bare" not in response["Location"]
    return took


if __name__ == "__main__":
    sys.exit(main())
