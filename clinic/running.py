"""Runs a whole site on this machine: web server, worker and scheduler, until Ctrl-C.

`demo` and `serve` prepare their data folder with the functions here and then run it.
"""

import fcntl
import hashlib
import os
import shutil
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import CommandError, call_command

from clinic.children import Children, stop_on_signals
from patients import programme

Say = Callable[[str], None]
STARTING = 30.0  # seconds until the web server must answer


@contextmanager
def only_one(folder: Path) -> Iterator[None]:
    """Holds the data folder; CommandError if another run holds it already."""
    with (folder / "running").open("a+") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            lock.seek(0)
            raise CommandError(
                f"It is running already on this data folder, at {lock.read().strip()}. "
                "End that one first (Ctrl-C where it runs), or open its address."
            ) from None
        lock.truncate(0)
        lock.write(settings.PUBLIC_URL + "\n")
        lock.flush()
        yield


def empty(folder: Path) -> None:
    """Removes the records of a site: database, mail, broker, logs. Keeps its key and static files.

    Call it before the database is opened, and only while `only_one` holds the folder.
    """
    for path in folder.glob("db.sqlite3*"):
        path.unlink()
    for path in folder.glob("beat-schedule*"):
        path.unlink()
    for name in ("mail/*", "broker/*/*", "log/*"):
        for path in folder.glob(name):
            path.unlink()


def migrate(say: Say) -> None:
    """Brings the database's tables up to date."""
    say("Bringing the database up to date ...")
    call_command("migrate", verbosity=0, interactive=False)


def collect_static_files(say: Say) -> None:
    """Collects and compresses the static files, unless those collected are up to date."""
    root = Path(settings.STATIC_ROOT)
    stamp = root / "collected-from"
    now = static_sources()
    if stamp.is_file() and stamp.read_text() == now:
        return
    say("Collecting and compressing the static files ...")
    shutil.rmtree(root, ignore_errors=True)
    call_command("collectstatic", verbosity=0, interactive=False)
    stamp.write_text(now)


def static_sources() -> str:
    """A digest of the names, sizes and times of all static source files."""
    digest = hashlib.sha256()
    for finder in get_finders():
        for name, storage in finder.list([]):
            facts = os.stat(storage.path(name))
            digest.update(f"{name} {facts.st_size} {facts.st_mtime_ns}\n".encode())
    return digest.hexdigest()


def web_command(host: str, port: int) -> list[str]:
    """The web server. One process with threads is enough on one machine, and kind to SQLite."""
    return [
        *(sys.executable, "-m", "granian", "clinic.wsgi:application", "--interface", "wsgi"),
        *("--host", host, "--port", str(port), "--workers", "1"),
        *("--blocking-threads", str(settings.WEB_THREADS), "--no-ws", "--no-access-log"),
        *("--log-level", "error", "--working-dir", str(settings.BASE_DIR)),
    ]


def worker_command() -> list[str]:
    """The Celery worker. Threads: its tasks wait for a mail server, they do not compute."""
    return [
        *(sys.executable, "-m", "celery", "-A", "clinic", "--quiet", "worker", "--pool", "threads"),
        *("--without-gossip", "--without-mingle", "--without-heartbeat"),
    ]


def beat_command() -> list[str]:
    """The Celery scheduler. Without a pid file: the data folder's lock allows only one."""
    return [*(sys.executable, "-m", "celery", "-A", "clinic", "--quiet", "beat"), "--pidfile="]


def start_all(children: Children, host: str, port: int, log: Path) -> None:
    """Starts the three processes, with their output in the folder `log`."""
    env = os.environ | {
        "DJANGO_SETTINGS_MODULE": "clinic.settings",
        # The file-system broker moves a message through here; next to the data it is a rename.
        "TMPDIR": str(settings.DATA_DIR),
        "PYTHONUNBUFFERED": "1",
        # For the page that is shown when the database, which knows it, cannot be read.
        "PROGRAMME_PHONE": settings.PROGRAMME_PHONE or programme.current().phone,
    }
    for name, command in (
        ("web", web_command(host, port)),
        ("worker", worker_command()),
        ("beat", beat_command()),
    ):
        children.start(name, command, log=log / f"{name}.log", env=env, folder=settings.BASE_DIR)


def wait_until_it_answers(children: Children, address: str, log: Path) -> None:
    """Returns when the site answers at `address`; CommandError if a process ends or time is up."""
    deadline = time.monotonic() + STARTING
    while time.monotonic() < deadline:
        complain_if_one_ended(children, log)
        try:
            with urllib.request.urlopen(f"{address}/healthz", timeout=2):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)
    raise CommandError(f"The web server did not answer within {STARTING:.0f} s: see {log}/web.log")


def complain_if_one_ended(children: Children, log: Path) -> None:
    """CommandError that names a process which ended by itself."""
    child = children.dead()
    if child is not None:
        raise CommandError(
            f"The {child.name} process ended by itself (exit {child.process.returncode}), "
            f"so everything is ended. Its last words are in {log}/{child.name}.log"
        )


def run_until_stopped(host: str, port: int, started: Callable[[], None], say: Say) -> None:
    """Runs the site until Ctrl-C or SIGTERM; calls `started` when it answers."""
    log = Path(settings.DATA_DIR) / "log"
    with Children() as children:
        start_all(children, host, port, log)
        wait_until_it_answers(children, f"http://{reachable(host)}:{port}", log)
        started()
        try:
            while True:
                time.sleep(0.5)
                complain_if_one_ended(children, log)
        except KeyboardInterrupt:
            say("\nEnding ...")
            raise


@contextmanager
def until_stopped(say: Say) -> Iterator[None]:
    """Lets Ctrl-C and SIGTERM end what is inside, in order and with a line instead of a trace."""
    stop_on_signals()
    try:
        yield
    except KeyboardInterrupt:
        say("Ended. The data is kept; the same command goes on from here.")


def reachable(host: str) -> str:
    """The address by which this machine reaches a server bound to `host`."""
    return "127.0.0.1" if host == "0.0.0.0" else host
