"""Measured by tests/benchmarks/silent_redis.py, in a process of its own."""

import os
import sys
import time
from collections.abc import Callable
from functools import partial
from typing import Any

import django

django.setup()

from celery import Celery  # noqa: E402 - only after the setup
from django.conf import settings  # noqa: E402
from django.core.management import call_command  # noqa: E402
from django.test.utils import setup_test_environment  # noqa: E402

from education.invite import invite  # noqa: E402
from education.publish import publish  # noqa: E402
from education.take import begin  # noqa: E402
from patients import wake  # noqa: E402
from patients.clock import now  # noqa: E402
from tests.education.phone import Phone  # noqa: E402
from tests.education.short_module import answer, short_module  # noqa: E402
from tests.factories import (  # noqa: E402
    a_patient,
    a_programme,
    an_assignment,
    an_invitation,
    an_operation,
)

LIMIT = 0.050  # seconds
QUESTIONS = 12


class Publishes(wake.Publisher):
    """A publisher with a broker of its own."""

    def __init__(self, broker: str) -> None:
        super().__init__()
        self.app = Celery("silent", broker=broker, set_as_current=False)
        self.app.config_from_object("django.conf:settings", namespace="CELERY")
        self.app.conf.update(broker_url=broker)


def main() -> int:
    """Measure in turn; 1 when p95 rises by more than the limit."""
    quizzes, port = int(sys.argv[1]), sys.argv[2]
    setup_test_environment()
    settings.SECURE_SSL_REDIRECT = False
    call_command("migrate", verbosity=0)
    a_programme()
    publish(short_module(questions=QUESTIONS), at=now())
    brokers = (Publishes(settings.REDIS_URL), Publishes(f"redis://127.0.0.1:{port}/0"))
    times: dict[str, tuple[list[float], list[float]]] = {"submit": ([], []), "invite": ([], [])}
    for number in range(2 * quizzes):
        which = number % 2
        wake.publisher = brokers[which]
        wake.__dict__["current_app"] = brokers[which].app
        hand_in = _ready(number)
        assignment = an_assignment(operation=an_operation())
        times["submit"][which].append(_timed(hand_in))
        times["invite"][which].append(_timed(partial(invite, assignment, at=now())))
    worse = []
    for what, (answering, silent) in times.items():
        before, after = _p95(answering), _p95(silent)
        worse.append(after - before > LIMIT)
        print(
            f"{what}: p95 {before * 1000:.1f} ms with a broker that answers, {after * 1000:.1f} ms "
            f"with a silent one: {(after - before) * 1000:+.1f} ms (limit +{LIMIT * 1000:.0f})"
        )
    print(f"{quizzes} of each, none failed; load {os.getloadavg()[0]:.1f}")
    return int(any(worse))


def _ready(number: int) -> Callable[[], Any]:
    patient = a_patient(given_names=f"Given{number}", family_names=f"Family{number}")
    phone = Phone(*an_invitation(assignment=an_assignment(operation=an_operation(patient=patient))))
    attempt = begin(phone.invitation, at=now())
    answer(attempt, "1" * QUESTIONS, at=now())
    born = patient.birth_date
    phone.type_name(
        given_names=patient.given_names,
        family_names=patient.family_names,
        day=str(born.day),
        month=str(born.month),
        year=str(born.year),
    )

    def hand_in() -> None:
        if phone.hand_in(attempt.number).status_code != 303:
            raise ValueError("a submit failed")

    return hand_in


def _timed(act: Callable[[], Any]) -> float:
    begun = time.perf_counter()
    act()
    return time.perf_counter() - begun


def _p95(times: list[float]) -> float:
    return sorted(times)[int(len(times) * 0.95)]


if __name__ == "__main__":
    sys.exit(main())
