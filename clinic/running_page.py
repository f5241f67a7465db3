"""What the page for operators shows: what runs, what keeps failing, and what is parked.

Names of programs, counts and ages; nothing about a patient.
"""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count

from clinic import parking
from clinic.models import FailingTask, ProcessSeen, TaskTally
from clinic.readiness import STUCK, Check, minutes, readiness
from education.daily import may_run_again, parked
from education.models import DailyRun, Message, MessageState

JOBS_SHOWN = 20
UNSETTLED = (MessageState.WAITING, MessageState.SENDING, MessageState.FAILED)


@dataclass(frozen=True)
class ParkedJob:
    """A daily job that failed five times. `may_run`: it may be tried again."""

    run: DailyRun
    may_run: bool


@dataclass(frozen=True)
class Process:
    """A worker or the schedule, and how long ago it did something. `quiet`: too long ago."""

    seen: ProcessSeen
    ago: str
    quiet: bool


@dataclass(frozen=True)
class TaskLine:
    """How a task did. `average`: seconds."""

    tally: TaskTally
    average: float


@dataclass(frozen=True)
class RunningPage:
    """The page as it is at an instant."""

    checks: list[Check]
    jobs_parked: list[ParkedJob]
    tasks_parked: list[FailingTask]
    processes: list[Process]
    tasks: list[TaskLine]
    jobs: list[DailyRun]
    mail: dict[str, int]

    @property
    def ready(self) -> bool:
        """Whether every check passes."""
        return all(check.passed for check in self.checks)


def read(*, at: datetime) -> RunningPage:
    """Read it."""
    counted = Message.objects.filter(state__in=UNSETTLED).values_list("state")
    return RunningPage(
        checks=readiness(at=at),
        jobs_parked=[ParkedJob(run, may_run_again(run)) for run in parked()],
        tasks_parked=list(parking.parked()),
        processes=[_process(one, at) for one in ProcessSeen.objects.order_by("kind", "name")],
        tasks=[_task(one) for one in TaskTally.objects.order_by("task")],
        jobs=list(DailyRun.objects.order_by("-on", "job")[:JOBS_SHOWN]),
        mail={str(state): 0 for state in UNSETTLED} | dict(counted.annotate(Count("pk"))),
    )


def _process(one: ProcessSeen, at: datetime) -> Process:
    ago = at - one.seen_at
    return Process(one, minutes(ago), quiet=ago >= STUCK)


def _task(one: TaskTally) -> TaskLine:
    return TaskLine(one, one.seconds / one.runs if one.runs else 0.0)
