"""A whole installation for the long runs: PostgreSQL, Valkey, a mail server, and our processes.

Each is a process of its own, on the loopback or a unix socket, with the settings of production; all
of them end with the `with` block.
"""

import os
import signal
import socket
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from urllib.parse import quote

from clinic.children import Child, Children
from tests import servers

ROOT = Path(__file__).resolve().parent.parent.parent
STARTING = 60.0  # seconds


@dataclass
class Installation:
    """What runs, and by which variables our processes find it."""

    folder: Path
    children: Children
    environment: dict[str, str]
    redis_port: int
    log: list[str] = field(default_factory=list)

    def start(self, name: str, *command: str, **env: str) -> Child:
        """Start a process of ours, the leader of its own group."""
        python = [sys.executable, *command]
        return self.children.start(
            name,
            python,
            log=self.folder / f"{name}.log",
            env=self.environment | env,
            folder=ROOT,
        )

    def kill(self, child: Child) -> None:
        """`kill -9` for a process and everything that it started."""
        os.killpg(child.process.pid, signal.SIGKILL)
        self.forget(child)

    def forget(self, child: Child) -> None:
        """A process that has ended, or is about to."""
        child.process.wait()
        self.children.running.remove(child)

    def stop(self, child: Child) -> None:
        """End a process as an operator would."""
        child.process.terminate()
        self.forget(child)

    def accepted(self) -> Counter[tuple[str, str]]:
        """How often the mail server took each message: by Message-ID and recipient."""
        lines = (self.folder / "accepted").read_text().splitlines()
        return Counter((one.split()[0], one.split()[1]) for one in lines)


@contextmanager
def installation() -> Iterator[Installation]:
    """Start the servers; the tables are made by the migrations."""
    mail_port, redis_port = servers.free_port(), servers.free_port()
    with (
        TemporaryDirectory(prefix="clear-by-long-") as folder,
        servers.postgres() as database,
        Children() as children,
    ):
        address = f"postgresql://postgres@{quote(database.host, safe='')}/postgres"
        env = {
            **{name: os.environ[name] for name in ("PATH", "HOME") if name in os.environ},
            "CLINIC_PRODUCTION": "1",
            "DJANGO_SETTINGS_MODULE": "clinic.settings",
            "SECRET_KEY": "long-run-" * 10,
            "DATABASE_URL": address,
            "REDIS_URL": f"redis://127.0.0.1:{redis_port}/0",
            "PUBLIC_URL": "https://larkfield.example",
            "EMAIL_HOST": "127.0.0.1",
            "EMAIL_PORT": str(mail_port),
            "EMAIL_HOST_USER": "",
            "EMAIL_HOST_PASSWORD": "",
            "EMAIL_USE_TLS": "0",
            "MAIL_FROM": "desk@larkfield.example",
            "LOG_FORMAT": "lines",
            "LOG_LEVEL": "WARNING",
            "PULSE_FOLDER": folder,
            "BEAT_SCHEDULE_FILE": f"{folder}/beat-schedule",
            "MEDIA_ROOT": f"{folder}/media",
        }
        found = Installation(Path(folder), children, env, redis_port)
        (found.folder / "accepted").touch()
        found.start("mail", "-m", "tests.long.mail_server", str(mail_port), f"{folder}/accepted")
        until(lambda: takes_connections(mail_port))
        yield found


def until(happened: Callable[[], bool], seconds: float = STARTING) -> float:
    """Wait; return how many seconds. TimeoutError when it does not happen."""
    begun = time.monotonic()
    while not happened():
        if time.monotonic() - begun > seconds:
            raise TimeoutError(f"not within {seconds:.0f} s")
        time.sleep(0.02)
    return time.monotonic() - begun


def takes_connections(port: int) -> bool:
    """True if something listens on the loopback."""
    try:
        socket.create_connection(("127.0.0.1", port), timeout=1).close()
    except OSError:
        return False
    return True
