"""The broker of the embedded mode: Kombu's file-system transport, made safe for several processes.

Kombu opens a message's file under its final name and then writes it. A worker that looks in between
takes an empty file, and ends with an error that nothing catches. Here a message is written under
another name first and then renamed, which is one step (POSIX, rename).
"""

import time
import uuid
from collections.abc import Callable
from pathlib import Path
from queue import Empty
from typing import Any

from kombu.transport import filesystem
from kombu.utils.json import dumps

TRIES, PAUSE = 50, 0.02  # seconds; a table of bindings is written within a millisecond


class Channel(filesystem.Channel):
    """Puts whole messages, and survives what is not one."""

    def _put(  # type: ignore[override]  # Kombu's own names for it differ
        self, queue: str, payload: Any, **kwargs: Any
    ) -> None:
        name = f"{round(time.monotonic() * 1000)}_{uuid.uuid4()}"
        folder = Path(self.data_folder_out)
        draft = folder / f"{name}.draft"
        draft.write_text(dumps(payload), encoding="utf-8")
        draft.rename(folder / f"{name}.{queue}.msg")

    def _get(self, queue: str, timeout: float | None = None) -> Any:
        try:
            return super()._get(queue)  # looks once; the transport waits between two looks
        except ValueError:  # cut off by a crash: a hint is lost, and the sweep does its work
            raise Empty from None

    def get_table(self, exchange: str) -> Any:
        """Return the bindings of an exchange."""
        return _once_written(lambda: super(Channel, self).get_table(exchange))

    def _queue_bind(self, *args: Any) -> None:
        _once_written(lambda: super(Channel, self)._queue_bind(*args))


class Transport(filesystem.Transport):
    """The transport behind folder:// (clinic/celery.py)."""

    Channel = Channel


def _once_written(read: Callable[[], Any]) -> Any:
    """Read a table of bindings, again if another process is just writing it."""
    for _ in range(TRIES):
        try:
            return read()
        except ValueError:
            time.sleep(PAUSE)
    return read()
