"""Measured by tests/benchmarks/worker_memory.py, in a process of its own."""

import sys
import time
from pathlib import Path

import django

django.setup()

import redis  # noqa: E402 - only after the setup
from django.conf import settings  # noqa: E402
from django.core.management import call_command  # noqa: E402

from clinic.celery import app  # noqa: E402
from clinic.models import TaskTally  # noqa: E402
from education.invite import invite  # noqa: E402
from education.models import Message  # noqa: E402
from patients.clock import now  # noqa: E402
from tests.factories import a_programme, an_assignment, an_operation  # noqa: E402
from tests.long.forked import end, fork, work  # noqa: E402
from tests.long.installation import until  # noqa: E402

FOLDER = Path(sys.argv[1])
TASKS = int(sys.argv[2])
EMAILS = 40
LIMIT = 20.0  # MB
PERIODIC = (
    "education.tasks.sweep_messages",
    "education.tasks.write_daily_mail",
    "clinic.tasks.write_morning_digests",
    "clinic.tasks.note_schedule",
    "patients.tasks.find_duplicates",
)


def main() -> int:
    """Measure; 1 when it grows by more than the limit, or a task failed."""
    call_command("migrate", verbosity=0)
    a_programme()
    for _ in range(EMAILS):
        invite(an_assignment(operation=an_operation()), at=now())
    messages = list(Message.objects.values_list("pk", flat=True))
    broker = redis.Redis.from_url(settings.REDIS_URL)
    broker.flushall()
    worker = fork("worker", work, log=FOLDER)
    begun = time.monotonic()
    try:
        offer(0, TASKS // 10, messages)
        until(lambda: idle(broker), 1200)
        first = memory(worker)
        offer(TASKS // 10, TASKS, messages)
        until(lambda: idle(broker), 2400)
        last = memory(worker)
    finally:
        end([worker])
    took = time.monotonic() - begun
    failures = sum(TaskTally.objects.values_list("failures", flat=True))
    print(
        f"{TASKS} tasks in {took:.0f} s, {failures} failed, "
        f"{Message.objects.filter(state='sent').count()} emails sent; "
        f"{first:.1f} MB after the first tenth, {last:.1f} MB in the end: "
        f"{last - first:+.1f} MB (limit {LIMIT:g})"
    )
    return int(last - first > LIMIT or failures > 0)


def offer(first: int, last: int, messages: list[int]) -> None:
    """Put tasks into the queue: half of them single emails, the others in turn."""
    for n in range(first, last):
        if n % 2:
            app.send_task("education.tasks.send_message", args=[messages[n // 2 % EMAILS]])
        else:
            app.send_task(PERIODIC[n // 2 % len(PERIODIC)])


def idle(broker: "redis.Redis") -> bool:
    """True once nothing waits and nothing is under way."""
    time.sleep(0.2)
    return not broker.llen("celery") and not broker.zcard("unacked_index")


def memory(group: int) -> float:
    """What all processes of the group have for themselves, in MB."""
    kilobytes = 0
    for process in Path("/proc").glob("[0-9]*"):
        try:
            if int((process / "stat").read_text().rpartition(")")[2].split()[2]) != group:
                continue
            for line in (process / "smaps_rollup").read_text().splitlines():
                if line.startswith("Pss:"):
                    kilobytes += int(line.split()[1])
        except (OSError, ValueError):
            continue  # it ended meanwhile
    return kilobytes / 1024


if __name__ == "__main__":
    sys.exit(main())
