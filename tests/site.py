"""The whole site as a person starts it, for the journeys: `manage.py demo`, with real mail."""

import os
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from clinic.children import Children
from tests.mailbox import Mailbox, smtp_server
from tests.servers import free_port

ROOT = Path(__file__).resolve().parent.parent
STARTING = 180.0  # seconds, the scenario's loading included
# What the test's own process has set, and the site must not see.
OURS = ("DJANGO_SETTINGS_MODULE", "CLINIC_DATA_DIR", "TEST_DATABASE", "DATABASE_URL", "REDIS_URL")


@dataclass(frozen=True)
class RunningSite:
    """A running site: its address, the mail server that it sends to, its data folder."""

    url: str
    mailbox: Mailbox
    data: Path
    env: dict[str, str]

    def manage(self, *arguments: str) -> str:
        """Runs a management command on the site's data; returns what it printed."""
        ended = subprocess.run(
            [sys.executable, str(ROOT / "manage.py"), *arguments],
            env=self.env,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
        )
        assert ended.returncode == 0, ended.stdout + ended.stderr
        return ended.stdout


@contextmanager
def running_site(data: Path) -> Iterator[RunningSite]:
    """Starts the demo on a free port with its data in `data`; ends all of it afterwards."""
    port = free_port()
    url = f"http://127.0.0.1:{port}"
    with smtp_server() as mailbox, Children() as children:
        env = {name: value for name, value in os.environ.items() if name not in OURS} | {
            "CLINIC_DATA_DIR": str(data),
            "PUBLIC_URL": url,
            "EMAIL_HOST": mailbox.host,
            "EMAIL_PORT": str(mailbox.port),
        }
        log = data / "demo.log"
        children.start(
            "demo",
            [sys.executable, str(ROOT / "manage.py"), "demo", "--port", str(port)],
            log=log,
            env=env,
            folder=ROOT,
        )
        deadline = time.monotonic() + STARTING
        while not (answers(url) and "Ctrl-C ends it." in log.read_text()):
            assert children.dead() is None, f"demo ended:\n{log.read_text()}"
            assert time.monotonic() < deadline, f"demo does not answer:\n{log.read_text()}"
            time.sleep(0.2)
        yield RunningSite(url, mailbox, data, env)
        # Else the reason why pages did not answer would be lost.
        assert children.dead() is None, f"demo ended by itself:\n{log.read_text()}"


def answers(url: str) -> bool:
    """True once the site takes requests."""
    try:
        with urllib.request.urlopen(f"{url}/healthz", timeout=2):
            return True
    except (urllib.error.URLError, OSError):
        return False
