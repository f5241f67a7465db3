"""Liveness, readiness by progress (promise B4, fault 18), metrics, and no patient's fact (T3).

The metrics are read by prometheus-client's own parser, the reference for the text format.
"""

import time
from collections.abc import Iterator
from datetime import timedelta

import pytest
from django.db.migrations.executor import MigrationExecutor
from django.test import Client
from prometheus_client.parser import text_string_to_metric_families
from pytest_django import Settings

from clinic import readiness as module
from clinic import task_tallies
from clinic.models import ProcessKind, TaskTally
from clinic.readiness import readiness
from education import mail_hold, tasks
from education.models import Message, MessageState
from patients import database_clock
from patients.clock import now
from tests.factories import a_patient, an_assignment, an_invitation, an_operation
from tests.tells import dated

pytestmark = pytest.mark.django_db

MINUTE = timedelta(minutes=1)
TOKEN = "a-token-for-the-figures-alone"


@pytest.fixture(autouse=True)
def tables_not_looked_at_yet(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is known of the tables holds for a process; the tests' own are made without."""
    monkeypatch.setattr(module, "_tables_fit", True)


@pytest.fixture(autouse=True)
def clock_not_looked_at_yet() -> Iterator[None]:
    database_clock._looked = (float("-inf"), False)
    yield
    database_clock._looked = (float("-inf"), False)


def failing(at_ahead: timedelta = timedelta(0)) -> dict[str, str]:
    """The checks that fail, with their reasons."""
    return {c.name: c.reason for c in readiness(at=now() + at_ahead) if not c.passed}


def a_message(**said: object) -> Message:
    """An email to a patient whose facts nobody else has."""
    patient = a_patient(given_names="Canaria", family_names="Finchley", email="canary@example.org")
    assignment = an_assignment(operation=an_operation(patient=patient))
    invitation, _ = an_invitation(assignment=assignment)
    Message.objects.filter(invitation=invitation).update(**said)
    return Message.objects.get(invitation=invitation)


def test_b4_nothing_sent_for_five_minutes_with_work_due_fails_and_progress_passes() -> None:
    task_tallies.seen(ProcessKind.SCHEDULE, "schedule", at=now() + 6 * MINUTE)
    due = a_message(state=MessageState.WAITING, next_try_at=now())
    assert failing(4 * MINUTE) == {}
    assert failing(6 * MINUTE) == {
        "mail": "the oldest email that is due waits since 6 min, "
        "and none went out in the last 5 min"
    }
    another = a_message(state=MessageState.SENT, sent_at=now() + 5 * MINUTE)
    assert failing(6 * MINUTE) == {}, "there is work, and it gets done"
    another.delete()
    # A mail server that was tried in vain is a standstill too, although the next try is to come.
    Message.objects.filter(pk=due.pk).update(
        tries=3, problem="ConnectionRefusedError", next_try_at=now() + 30 * MINUTE
    )
    assert list(failing(6 * MINUTE)) == ["mail"]
    Message.objects.filter(pk=due.pk).update(problem="mail server answered 450")
    assert failing(6 * MINUTE) == {}, "one address that is turned down for now is none"
    Message.objects.filter(pk=due.pk).update(tries=0, next_try_at=now())
    mail_hold.hold(reason="A wrong number", at=now(), by_id=None)
    assert failing(6 * MINUTE) == {}, "a person holds it"


def test_fault_16_no_scheduler_is_seen_within_five_minutes() -> None:
    assert failing() == {"schedule": "it has not run yet"}
    task_tallies.seen(ProcessKind.SCHEDULE, "schedule", at=now())
    assert failing() == {}
    assert failing(5 * MINUTE) == {"schedule": "last run 5 min ago"}


@pytest.mark.parametrize("off", [-10 * MINUTE, 10 * MINUTE])
def test_fault_18_a_machine_whose_clock_is_off_says_so_and_sends_nothing(
    off: timedelta, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ten minutes ahead it would take another's lease of 90 seconds for over, and send twice."""
    task_tallies.seen(ProcessKind.SCHEDULE, "schedule", at=now())
    message = a_message(state=MessageState.SENDING, lease_until=now() + MINUTE, tries=1)
    assert failing() == {}
    monkeypatch.setattr(database_clock, "now", lambda: now() + off)
    monkeypatch.setattr(tasks, "now", lambda: now() + off)
    tasks.send_message(message.pk)
    tasks.sweep_messages()
    message.refresh_from_db()
    assert (message.state, message.tries) == (MessageState.SENDING, 1)
    way = "ahead of" if off > timedelta(0) else "behind"
    assert failing()["clock"].startswith(("this machine is 600.", "this machine is 599."))
    assert failing()["clock"].endswith(f"s {way} the database")


def test_migrations_that_are_pending_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tables that the tests made without migrations: all are pending, as on an empty database."""
    monkeypatch.setattr(module, "_tables_fit", False)
    monkeypatch.setattr(MigrationExecutor, "migration_plan", lambda *_: [(_Named(), False)] * 2)
    assert failing()["migrations"] == "2 to be applied, from clinic 0099_more on"


class _Named:
    app_label, name = "clinic", "0099_more"


def test_liveness_asks_no_back_end(
    client: Client, django_assert_num_queries: pytest.FixtureRequest
) -> None:
    with django_assert_num_queries(0):  # type: ignore[operator]
        assert client.get("/healthz").status_code == 200


def test_readyz_and_metrics_tell_figures_and_no_patients_fact(
    client: Client, settings: Settings
) -> None:
    settings.METRICS_TOKEN = TOKEN
    task_tallies.note("clinic.tasks.note_schedule", 0.5, at=now(), problem="ValueError")
    message = a_message(state=MessageState.WAITING, next_try_at=now() - 7 * MINUTE)
    ready = client.get("/readyz")
    assert ready.status_code == 503
    assert "mail: FAILED, the oldest email" in ready.content.decode()
    assert client.get("/metrics").status_code == 401
    for wrong in ("Bearer ", f"Bearer {TOKEN}x", f"Basic {TOKEN}"):
        assert client.get("/metrics", headers={"Authorization": wrong}).status_code == 401
    answer = client.get("/metrics", headers={"Authorization": f"Bearer {TOKEN}"})
    assert answer["Content-Type"].startswith("text/plain; version=0.0.4")
    text = answer.content.decode()
    values = {
        (sample.name, *sample.labels.values()): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }
    assert values["clearby_messages", "waiting"] == 1
    assert values["clearby_messages", "sent"] == 0
    assert 420 <= values["clearby_oldest_due_message_seconds",] < 480
    assert values["clearby_ready", "database"] == 1
    assert values["clearby_ready", "mail"] == 0
    assert values["clearby_task_seconds_count", "clinic.tasks.note_schedule"] == 1
    assert values["clearby_task_seconds_sum", "clinic.tasks.note_schedule"] == 0.5
    assert values["clearby_task_failures_in_a_row", "clinic.tasks.note_schedule"] == 1
    assert values["clearby_workers",] == 1
    patient = message.patient
    assert patient
    told = text + ready.content.decode()
    for fact in ("Canaria", "Finchley", patient.mrn, patient.email):
        assert fact not in told
    assert not dated(told, year=patient.birth_date.year)


def test_without_a_token_in_the_settings_nobody_reads_the_figures(
    client: Client, settings: Settings
) -> None:
    settings.METRICS_TOKEN = ""
    assert client.get("/metrics", headers={"Authorization": "Bearer "}).status_code == 401


def test_what_goes_well_is_written_in_one_and_a_failure_at_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(task_tallies, "_written_at", time.monotonic())
    for _ in range(50):
        task_tallies.note("t", 0.1, at=now())
    assert not TaskTally.objects.exists()
    for _ in range(3):
        task_tallies.note("t", 0.1, at=now(), problem="KeyError")
    tally = TaskTally.objects.get()
    assert (tally.runs, tally.failures, tally.failures_in_a_row) == (53, 3, 3)
    assert tally.seconds == pytest.approx(5.3)
    task_tallies.note("t", 0.1, at=now())
    task_tallies.write(at=now())
    assert TaskTally.objects.get().failures_in_a_row == 0
