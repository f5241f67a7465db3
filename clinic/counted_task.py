"""Every task: counted, and parked when it fails five times (promise B3)."""

import time
from typing import Any

from celery.contrib.django.task import DjangoTask

from clinic import parking, task_tallies
from patients.clock import now


class CountedTask(DjangoTask[Any, Any]):
    """The base of all tasks (clinic/celery.py).

    A task with ids that is parked does nothing until a person takes it up again. One without ids
    is asked again and again by the schedule, and nothing waits behind it: that it keeps failing is
    counted and shown, and it is not stopped.
    """

    abstract = True
    Request = "clinic.pulse:WatchedRequest"

    def __call__(self, *ids: Any, **named: Any) -> Any:
        """Run once, and say how it ended."""
        failing = parking.found(self.name, ids) if ids else None
        if failing is not None and failing.parked_at is not None:
            return None
        begun = time.monotonic()
        try:
            result = super().__call__(*ids, **named)
        except Exception as broken:
            problem, at = type(broken).__name__, now()
            task_tallies.note(self.name, time.monotonic() - begun, problem=problem, at=at)
            if ids:
                parking.failed(self.name, ids, problem=problem, at=at)
            raise
        task_tallies.note(self.name, time.monotonic() - begun, at=now())
        if failing is not None:
            failing.delete()
        return result
