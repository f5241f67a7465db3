"""What runs and what is parked: promise B3, and the page for operators."""

from datetime import timedelta
from typing import Any

import pytest
from celery import Celery, Task
from django.urls import reverse
from pytest_django import DjangoCaptureOnCommitCallbacks

from clinic import parking, pulse
from clinic.counted_task import CountedTask
from clinic.models import FailingTask, Role, TaskTally
from clinic.once import new_key
from education.daily import once_a_day, parked
from education.models import DailyRun
from patients.clock import now
from tests.factories import a_programme, signed_in

pytestmark = pytest.mark.django_db

NAME = "canary.work"


@pytest.fixture
def did() -> list[int]:
    """What the task was run with."""
    return []


@pytest.fixture
def work(did: list[int]) -> Task[Any, Any]:
    """A task that fails for odd numbers, through Celery's own tracer, as a worker runs it."""
    app = Celery("canary", broker="memory://", set_as_current=False, task_cls=CountedTask)

    @app.task(name=NAME)
    def work(number: int = 1) -> None:
        did.append(number)
        if number % 2:
            raise ValueError("of Canaria Finchley")

    return work


def run(work: Task[Any, Any], *ids: int) -> None:
    work.apply(args=ids, throw=False)


def press(kind: str, pk: int, decision: str) -> str:
    """A button of the page; returns what it says then."""
    a_programme()
    address = reverse("running-parked", args=(kind, pk))
    said = {"act_key": new_key(), "decision": decision}
    answer = signed_in(Role.ADMINISTRATOR).post(address, said, follow=True)
    return str(answer.content.decode())


def page() -> str:
    a_programme()
    return str(signed_in(Role.ADMINISTRATOR).get(reverse("running")).content.decode())


def test_b3_five_failures_park_it_and_what_is_behind_it_moves(
    work: Task[Any, Any],
    did: list[int],
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    assert "Nothing is parked." in page()
    for _ in range(7):
        run(work, 1)
        run(work, 2)
    assert did.count(1) == 5
    assert did.count(2) == 7
    row = FailingTask.objects.get()
    assert row.parked_at
    shown = page()
    assert NAME in shown
    assert "[1]" in shown
    assert "ValueError" in shown
    assert "Canaria" not in shown
    with django_capture_on_commit_callbacks() as hints:
        assert "It is tried again" in press("task", row.pk, "again")
    assert len(hints) >= 1
    assert "settled meanwhile" in press("task", row.pk, "again")
    run(work, 1)
    assert did.count(1) == 6


def test_what_was_set_aside_stays_undone_and_leaves_the_list(
    work: Task[Any, Any], did: list[int]
) -> None:
    for _ in range(5):
        run(work, 1)
    press("task", FailingTask.objects.get().pk, "aside")
    assert "Nothing is parked." in page()
    run(work, 1)
    assert did.count(1) == 5


def test_a_success_forgets_the_failures_before_it(work: Task[Any, Any], did: list[int]) -> None:
    for _ in range(4):
        parking.failed(NAME, [2], problem="OSError", at=now())
    run(work, 2)
    assert not FailingTask.objects.exists()


def test_what_the_schedule_asks_for_is_never_stopped_but_said_to_fail(
    work: Task[Any, Any], did: list[int]
) -> None:
    """A sweep that were parked while the database was down would stop all mail for good."""
    for _ in range(6):
        run(work)
    assert len(did) == 6
    assert not FailingTask.objects.exists()
    assert TaskTally.objects.get().failures_in_a_row == 6
    assert "the last 6 in a row" in page()


def test_b3_a_parked_daily_job_is_tried_again_or_set_aside() -> None:
    at, on = now(), now().date()

    def broken() -> None:
        raise KeyError("x")

    for hours in range(7):
        once_a_day("mail", on=on, at=at + timedelta(hours=hours), act=broken)
    (run,) = parked()
    assert run.tries == 5
    assert "KeyError" in page()
    assert "It is tried again" in press("job", run.pk, "again")
    assert once_a_day("mail", on=on, at=at + timedelta(hours=9), act=lambda: None)
    assert "✓ done" in page()
    DailyRun.objects.update(finished_at=None, tries=5, problem="KeyError")
    DailyRun.objects.create(job="mail", on=on + timedelta(days=1), recorded_at=at)
    assert "A later day has begun." in page()
    assert "settled meanwhile" in press("job", run.pk, "again")
    assert "It is set aside" in press("job", run.pk, "aside")
    assert "Nothing is parked." in page()


def test_neither_kind_nor_decision_can_be_made_up() -> None:
    a_programme()
    client = signed_in(Role.ADMINISTRATOR)
    for kind, decision in (("else", "again"), ("job", "run")):
        address = reverse("running-parked", args=(kind, 1))
        said = {"act_key": new_key(), "decision": decision}
        assert client.post(address, said).status_code == 404


def test_b4_a_worker_that_cannot_hand_back_its_tasks_connects_anew(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Found by tests/long/redis_soak.py: with its hands full it asked for nothing, never again.

    A ConnectionError out of a timer is what makes Celery's loop restart its consumer.
    """
    monkeypatch.setattr(pulse, "touch", lambda name: None)
    step = pulse.WorkerPulse.__new__(pulse.WorkerPulse)
    step.tick()
    request: Any = pulse.WatchedRequest.__new__(pulse.WatchedRequest)
    request.acknowledged, request._connection_errors = False, (OSError,)

    class Gone:
        def ack(self) -> None:
            raise ConnectionRefusedError

    request._message = Gone()
    request.acknowledge()
    with pytest.raises(ConnectionError):
        step.tick()
    step.tick()
