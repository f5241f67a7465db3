"""Let one act come between another's reading and its writing, as two requests at once may."""

import threading
from collections.abc import Callable
from types import ModuleType
from typing import Any

import pytest
from django.db import connections


class Beside:
    """An act that runs in a thread of its own, once the function has returned for the first time.

    Whoever called the function goes on when the act is done, or after `at_most` seconds: it may be
    waiting for a lock.
    """

    def __init__(
        self,
        monkeypatch: pytest.MonkeyPatch,
        module: ModuleType,
        function: str,
        act: Callable[[], Any],
        *,
        at_most: float = 1.0,
    ) -> None:
        self.came_of: list[Any] = []
        self._act, self._at_most = act, at_most
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._real = getattr(module, function)
        monkeypatch.setattr(module, function, self._interrupted)

    def end(self) -> Any:
        """Wait for the act; return what it returned, or raise what it raised."""
        self._thread.join(20)
        (came,) = self.came_of
        if isinstance(came, Exception):
            raise came
        return came

    def _interrupted(self, *args: Any, **kwargs: Any) -> Any:
        found = self._real(*args, **kwargs)
        if not self._thread.ident:
            self._thread.start()
            self._thread.join(self._at_most)
        return found

    def _run(self) -> None:
        try:
            self.came_of.append(self._act())
        except Exception as problem:
            self.came_of.append(problem)
        finally:
            connections.close_all()
