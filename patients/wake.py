"""Wakes a task soon after the transaction, without ever making a request wait (promise B1).

The rows that were committed are the truth; a wake is only a hint that there is work. It may be
lost: the periodic sweep finds what no hint announced (promise B2). So nothing here raises,
retries or blocks: the request puts the hint on a short queue in memory, and one background
thread hands it to the broker.
"""

import logging
import os
import queue
import threading
import time

from celery import current_app
from django.db import transaction

log = logging.getLogger(__name__)

QUEUE_LENGTH = 1000
# After a failure the broker is left alone for this long, in seconds; hints meanwhile are dropped.
REST_AFTER_FAILURE = 5.0

Hint = tuple[str, tuple[int, ...]]


class Publisher:
    """Hands hints to the broker from a thread of its own, started at the first hint."""

    def __init__(self) -> None:
        self._hints: queue.Queue[Hint] = queue.Queue(maxsize=QUEUE_LENGTH)
        self._starting = threading.Lock()
        self._waiting: set[Hint] = set()
        self._counting = threading.Lock()
        self._process = 0

    def offer(self, hint: Hint) -> bool:
        """Takes the hint at once; False if there are too many waiting and it was dropped.

        One that waits already says it all: a thousand patients enrolled in one import give the
        hint to compare them a thousand times.
        """
        self._start_once()
        with self._counting:
            if hint in self._waiting:
                return True
            try:
                self._hints.put_nowait(hint)
            except queue.Full:
                return False
            self._waiting.add(hint)
        return True

    def _start_once(self) -> None:
        # A thread does not survive a fork: each process starts its own.
        if self._process == os.getpid():
            return
        with self._starting:
            if self._process != os.getpid():
                threading.Thread(target=self._publish_for_ever, name="wake", daemon=True).start()
                self._process = os.getpid()

    def _publish_for_ever(self) -> None:
        resting_until = 0.0
        while True:
            hint = self._hints.get()
            with self._counting:
                self._waiting.discard(hint)  # before it goes: what happens from now on wants anew
            task_name, ids = hint
            if time.monotonic() < resting_until:
                continue
            try:
                current_app.send_task(task_name, args=ids, ignore_result=True, retry=False)
            except Exception:  # whatever the broker's client raises: the sweep will do the work
                resting_until = time.monotonic() + REST_AFTER_FAILURE
                log.warning("The broker took no hint for %s", task_name, exc_info=True)


publisher = Publisher()


def wake(task_name: str, *ids: int) -> None:
    """After the current transaction commits, hints to the workers to run `task_name` with `ids`.

    Outside a transaction the hint goes at once; after a rollback never. Never raises for the
    broker's sake and never waits for it.
    """
    transaction.on_commit(lambda: _offer((task_name, ids)), robust=True)


def _offer(hint: Hint) -> None:
    if not publisher.offer(hint):
        log.warning("Too many hints waiting: one for %s was dropped", hint[0])
