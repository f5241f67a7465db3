"""Workers and schedulers forked off a process that has loaded the product already.

They are whole processes, with children of their own, in a process group of their own, which is
what `kill -9` ends. Starting each from nothing would take most of the time of a long run.
"""

import os
import signal
import sys
import traceback
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from typing import NoReturn

from django.conf import settings
from django.db import connection

from clinic.celery import app


def fork(name: str, act: Callable[[], object], *, log: Path) -> int:
    """Run `act` in a process of its own; returns its process id, which is its group's too."""
    connection.close()
    getattr(connection, "close_pool", lambda: None)()  # PostgreSQL alone has one
    pid = os.fork()
    if pid:
        return pid
    os.setsid()
    with (log / f"{name}.log").open("ab") as file:
        os.dup2(file.fileno(), 1)
        os.dup2(file.fileno(), 2)
    status = 1
    try:
        act()
        status = 0
    except BaseException:
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status)


def work(processes: int = 2) -> None:
    """Be a worker, as docker-compose.yml starts one."""
    app.worker_main(
        [
            *("--quiet", "worker", "--pool=prefork", f"--concurrency={processes}"),
            *("--without-gossip", "--without-mingle", "--without-heartbeat"),
        ]
    )


def schedule(every: float | None = None) -> None:
    """Be the scheduler; `every`: seconds between two sweeps, in place of those of production."""
    if every is not None:
        entry = {"task": "education.tasks.sweep_messages", "schedule": every}
        app.conf.beat_schedule = {"sweep-messages": {**entry, "options": {"expires": every}}}
    Path(settings.CELERY_BEAT_SCHEDULE_FILENAME).unlink(missing_ok=True)
    app.Beat(schedule=settings.CELERY_BEAT_SCHEDULE_FILENAME, quiet=True).run()


def die() -> NoReturn:
    """`kill -9` for this process and everything in its group: nothing is tidied up."""
    while True:
        os.killpg(os.getpgid(0), signal.SIGKILL)


def end(pids: Iterable[int]) -> None:
    """`kill -9` for these groups, if they live, and wait until they are gone."""
    for pid in pids:
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)  # it may not lead a group of its own yet
        with suppress(ProcessLookupError):
            os.killpg(pid, signal.SIGKILL)
        with suppress(ChildProcessError):
            os.waitpid(pid, 0)


def gone(pid: int) -> bool:
    """True once a process has ended."""
    with suppress(ChildProcessError):
        return os.waitpid(pid, os.WNOHANG)[0] == pid
    return True
