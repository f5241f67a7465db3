"""Child processes that never outlive us: the web server, the worker and the scheduler of a site."""

import contextlib
import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType, TracebackType
from typing import Self

PATIENCE = 10.0  # seconds that a child gets to end by itself
PR_SET_PDEATHSIG = 1  # prctl(2)
# Loaded beforehand: between fork and exec a child must not import anything.
LIBC = ctypes.CDLL(None) if sys.platform == "linux" else None


@dataclass
class Child:
    """One running process, the leader of its own process group."""

    name: str
    process: subprocess.Popen[bytes]


def end_with_parent(ending: signal.Signals) -> Callable[[], None]:
    """What a new process does first: ask the kernel for `ending` should its parent be killed.

    It heeds SIGINT again, which a shell makes what it starts in the background ignore: the parent
    ends its children with it.
    """

    def ask() -> None:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        if LIBC is not None:
            LIBC.prctl(PR_SET_PDEATHSIG, int(ending), 0, 0, 0)

    return ask


@dataclass
class Children:
    """The processes of one site. Leaving the `with` block ends them all, with their own children.

    They are ended in the reverse order of their start.
    """

    running: list[Child] = field(default_factory=list)

    def start(
        self,
        name: str,
        command: Sequence[str],
        *,
        log: Path,
        env: dict[str, str] | None = None,
        folder: Path | None = None,
        user: int | None = None,
        ending: signal.Signals = signal.SIGTERM,
    ) -> Child:
        """Starts a process that appends what it says to the file `log`.

        `user` is the uid to run as, for servers that refuse to run as root.
        """
        log.parent.mkdir(parents=True, exist_ok=True)
        identity: dict[str, int | list[int]] = (
            {} if user is None else {"user": user, "group": user, "extra_groups": []}
        )
        with log.open("ab") as output:
            process = subprocess.Popen(
                list(command),
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT,
                env=env,
                cwd=folder,
                start_new_session=True,
                preexec_fn=end_with_parent(ending),
                **identity,  # type: ignore[call-overload]
            )
        child = Child(name, process)
        self.running.append(child)
        return child

    def dead(self) -> Child | None:
        """The first process found to have ended by itself, or None."""
        return next((child for child in self.running if child.process.poll() is not None), None)

    def end(self, ending: signal.Signals = signal.SIGTERM) -> None:
        """Asks each process to end, waits, and kills what is left of their groups."""
        for child in reversed(self.running):
            if child.process.poll() is None:
                child.process.send_signal(ending)
        deadline = time.monotonic() + PATIENCE
        for child in reversed(self.running):
            with contextlib.suppress(subprocess.TimeoutExpired):
                child.process.wait(max(0.0, deadline - time.monotonic()))
            kill_group(child.process.pid)
            child.process.wait()
        self.running.clear()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        where: TracebackType | None,
    ) -> None:
        self.end()


def kill_group(leader: int) -> None:
    """Kills whatever still runs in the process group."""
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(leader, signal.SIGKILL)


def stop_on_signals() -> None:
    """Makes SIGTERM and SIGHUP end this process the way Ctrl-C does: in order."""

    def stop(number: int, frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, stop)
    signal.signal(signal.SIGHUP, stop)
