"""The worker and the scheduler show that they go on: a file each, touched every few seconds.

For the health check of a container (clinic/ask_health.py), which must ask no back end and
start no Django. The file is touched by the loop that does the work, so one that hangs, or that
waits for a broker which does not answer, is seen. What the programme as a whole gets done is read
from the database (clinic/readiness.py).
"""

import logging
import threading
from pathlib import Path
from typing import Any, cast

from celery import bootsteps
from celery.beat import PersistentScheduler
from celery.worker.request import Request
from django.conf import settings

EVERY = 5.0  # seconds
log = logging.getLogger(__name__)

_not_acknowledged = threading.Event()


def touch(name: str) -> None:
    """Show that the process of this name goes on."""
    path = Path(settings.PULSE_FOLDER) / f"{name}-pulse"
    try:
        path.touch()
    except OSError:
        log.exception("The pulse of %s cannot be shown", name)


class WatchedRequest(Request):
    """A task in the worker's hands, which notes when the broker cannot be told that it is done.

    Celery logs that and goes on: a worker whose hands are full of tasks that it cannot hand back
    asks for no others, never again, and so never sees that the broker has long been there anew.
    """

    def acknowledge(self) -> None:
        """Tell the broker that the task is done."""
        if self.acknowledged:
            return
        errors = cast("tuple[type[Exception], ...]", self.connection_errors)
        try:
            self.message.ack()
        except errors:
            log.warning("The broker could not be told that a task is done")
            _not_acknowledged.set()
        self.acknowledged = True


class WorkerPulse(bootsteps.StartStopStep):
    """A step of the Celery worker: a timer of its own loop."""

    requires = ("celery.worker.components:Timer",)
    ticking: Any = None

    def start(self, parent: Any) -> None:
        """Begin with the worker."""
        touch("worker")
        self.ticking = parent.timer.call_repeatedly(EVERY, self.tick)

    def tick(self) -> None:
        """Show that the loop goes on; raised is what makes Celery connect to the broker anew."""
        touch("worker")
        if _not_acknowledged.is_set():
            _not_acknowledged.clear()
            raise ConnectionError("the broker could not be told that a task is done")

    def stop(self, parent: Any) -> None:
        """End with the worker."""
        if self.ticking is not None:
            self.ticking.cancel()
            self.ticking = None


class Scheduler(PersistentScheduler):
    """Celery's scheduler, which touches its file each time that it has looked what is due."""

    def tick(self, *args: Any, **options: Any) -> float:
        """Send what is due; returns the seconds until the next look."""
        wait: float = super().tick(*args, **options)
        touch("beat")
        return wait
