"""The figures of the whole programme, in Prometheus's text format.

All of them are read from the database: any number of web servers answer the same, and whichever is
asked. They are counts and ages; no label comes from a record about a person.
"""

from collections.abc import Iterator
from datetime import datetime

from django.db import Error
from django.db.models import Count
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import (
    CounterMetricFamily,
    GaugeMetricFamily,
    Metric,
    SummaryMetricFamily,
)

from clinic import parking
from clinic.models import ProcessKind, ProcessSeen, TaskTally
from clinic.readiness import STUCK, oldest_due, readiness
from education.daily import parked as parked_jobs
from education.models import Message, MessageState
from patients.database_clock import ahead


class _Figures:
    """What Prometheus's library asks for its metrics."""

    def __init__(self, at: datetime) -> None:
        self.at = at

    def collect(self) -> Iterator[Metric]:
        """Yield the checks; with a database that answers, the rest too."""
        checks = readiness(at=self.at)
        ready = GaugeMetricFamily("clearby_ready", "1 if the check passes.", labels=["check"])
        for check in checks:
            ready.add_metric([check.name], float(check.passed))
        yield ready
        try:
            yield from [*_mail(self.at), *_tasks(), *_processes(self.at)]
        except Error:
            return  # the checks say it


def as_text(*, at: datetime) -> bytes:
    """Return every figure as it is now."""
    registry = CollectorRegistry()
    registry.register(_Figures(at))
    return generate_latest(registry)


def _mail(at: datetime) -> Iterator[Metric]:
    counted = Message.objects.values_list("state").annotate(Count("pk"))
    counts = dict.fromkeys(MessageState, 0) | {MessageState(state): n for state, n in counted}
    messages = GaugeMetricFamily("clearby_messages", "Emails by state.", labels=["state"])
    for state, count in counts.items():
        messages.add_metric([state], count)
    yield messages
    oldest = oldest_due(at)
    age = (at - oldest).total_seconds() if oldest else 0.0
    yield GaugeMetricFamily(
        "clearby_oldest_due_message_seconds", "How long the oldest email has been due.", age
    )


def _tasks() -> Iterator[Metric]:
    seconds = SummaryMetricFamily(
        "clearby_task_seconds", "Runs of each task, and their seconds in all.", labels=["task"]
    )
    failures = CounterMetricFamily(
        "clearby_task_failures", "Runs of each task that failed.", labels=["task"]
    )
    in_a_row = GaugeMetricFamily(
        "clearby_task_failures_in_a_row", "Since the task last ended well.", labels=["task"]
    )
    for one in TaskTally.objects.order_by("task"):
        seconds.add_metric([one.task], count_value=one.runs, sum_value=one.seconds)
        failures.add_metric([one.task], one.failures)
        in_a_row.add_metric([one.task], one.failures_in_a_row)
    yield from (seconds, failures, in_a_row)
    parked = GaugeMetricFamily("clearby_parked", "What waits for an operator.", labels=["kind"])
    parked.add_metric(["job"], len(parked_jobs()))
    parked.add_metric(["task"], parking.parked().count())
    yield parked


def _processes(at: datetime) -> Iterator[Metric]:
    seen = ProcessSeen.objects.order_by("kind", "name")
    workers = [one for one in seen if one.kind == ProcessKind.WORKER and at - one.seen_at < STUCK]
    yield GaugeMetricFamily(
        "clearby_workers", "Machines whose worker did something lately.", len(workers)
    )
    runs = [one.seen_at for one in seen if one.kind == ProcessKind.SCHEDULE]
    if runs:
        age = (at - max(runs)).total_seconds()
        yield GaugeMetricFamily("clearby_schedule_age_seconds", "Since the schedule ran.", age)
    off = ahead().total_seconds()
    yield GaugeMetricFamily("clearby_clock_ahead_seconds", "Of the database, by the clock.", off)
