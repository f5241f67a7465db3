"""Builds `.venv` from the hashed requirements and continues inside it.

Standard library only: this runs before anything is installed. A stamp in `.venv` says what it
was built from; it is built again when the Python version, the requirements or the folder change.
The test requirements contain the run requirements, so an environment for tests also runs.
"""

from __future__ import annotations

import argparse
import fcntl
import hashlib
import importlib.util
import json
import os
import shutil
import socket
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

RUN = "requirements.txt"
DEV = "requirements-dev.txt"
STAMP = "built-from.json"
FIRST_PORT = 8000


class CannotStart(Exception):
    """The message is the one line a person needs."""


@dataclass(frozen=True)
class Stamp:
    """What an environment was built from: Python's version, the folder, and each file's hash."""

    python: str
    folder: str
    files: dict[str, str]

    def satisfies(self, wanted: Stamp) -> bool:
        """True if an environment with this stamp has everything that `wanted` asks for."""
        return (
            self.python == wanted.python
            and self.folder == wanted.folder
            and all(self.files.get(name) == digest for name, digest in wanted.files.items())
        )


def wanted_stamp(root: Path, version: tuple[int, int], *, with_tests: bool) -> Stamp:
    """The stamp that an environment needs now, for running or (a superset) for testing."""
    names = [RUN, DEV] if with_tests else [RUN]
    return Stamp(
        python=f"{version[0]}.{version[1]}",
        folder=str(root),
        files={name: hashlib.sha256((root / name).read_bytes()).hexdigest() for name in names},
    )


def read_stamp(venv: Path) -> Stamp | None:
    """The stamp in `venv`, or None if there is none, it is unreadable, or its Python is gone."""
    if not venv_python(venv).exists():
        return None
    try:
        found = json.loads((venv / STAMP).read_text())
        return Stamp(found["python"], found["folder"], dict(found["files"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def write_stamp(venv: Path, stamp: Stamp) -> None:
    """Records what `venv` was built from."""
    (venv / STAMP).write_text(json.dumps(stamp.__dict__, indent=1) + "\n")


def venv_python(venv: Path) -> Path:
    """The path of the environment's own Python."""
    return venv / "bin" / "python"


def venv_complaint(version: tuple[int, int], *, has_uv: bool, missing: list[str]) -> str:
    """One line naming the Debian package to install, or "" if an environment can be made.

    `missing` names those of the modules venv and ensurepip that this Python lacks. Debian ships
    them apart from Python. uv needs neither.
    """
    if has_uv or not missing:
        return ""
    return (
        f"This Python lacks {' and '.join(missing)}, needed for a virtualenv. "
        f"On Debian: apt-get install python{version[0]}.{version[1]}-venv"
    )


def missing_modules() -> list[str]:
    """Those of venv and ensurepip that this Python cannot import."""
    return [name for name in ("venv", "ensurepip") if importlib.util.find_spec(name) is None]


def say(line: str) -> None:
    """One progress line, shown at once."""
    print(line, flush=True)


def run(command: list[str], failure: str) -> None:
    """Runs a command and shows what it prints; raises CannotStart(failure) if it fails."""
    if subprocess.run(command, stdin=subprocess.DEVNULL, check=False).returncode:
        raise CannotStart(failure)


def create(venv: Path, uv: str | None) -> None:
    """Makes an empty environment with this Python, in place of what may be there."""
    failure = f"Could not make the virtualenv in {venv}: see the lines above."
    if uv:
        run([uv, "venv", "--quiet", "--clear", "--python", sys.executable, str(venv)], failure)
    else:
        run([sys.executable, "-m", "venv", "--clear", str(venv)], failure)


def install(venv: Path, requirements: Path, uv: str | None) -> None:
    """Installs the pinned packages, each checked against its hash."""
    failure = (
        "Could not install the packages: see the lines above. "
        "They come from the Python package index, so this machine needs to reach it once."
    )
    python = str(venv_python(venv))
    if uv:
        quiet = [] if sys.stderr.isatty() else ["--quiet"]
        into = [uv, "pip", "install", *quiet, "--python", python]
        run([*into, "--require-hashes", "-r", str(requirements)], failure)
        return
    pip = [python, "-m", "pip", "install", "--disable-pip-version-check", "--progress-bar", "off"]
    total = sum("==" in line for line in requirements.read_text().splitlines())
    done = 0
    with subprocess.Popen(
        [*pip, "--require-hashes", "-r", str(requirements)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        for line in process.stdout:
            if line.startswith("Collecting "):
                done += 1
                if done % 10 == 0:
                    say(f"  {done} of at most {total} packages fetched")
    if process.returncode:
        raise CannotStart(failure)


def build(root: Path, *, with_tests: bool) -> None:
    """Brings `.venv` up to date. Two commands at once wait for each other."""
    venv = root / ".venv"
    version = sys.version_info[:2]
    with (root / RUN).open() as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        found = read_stamp(venv)
        if found is not None and found.satisfies(
            wanted_stamp(root, version, with_tests=with_tests)
        ):
            return
        # An environment that could test keeps that ability when the requirements change.
        with_tests = with_tests or (found is not None and DEV in found.files)
        wanted = wanted_stamp(root, version, with_tests=with_tests)
        uv = shutil.which("uv")
        complaint = venv_complaint(version, has_uv=bool(uv), missing=missing_modules())
        if complaint:
            raise CannotStart(complaint)
        started = time.monotonic()
        tool = "uv" if uv else "pip"
        say(f"Preparing .venv (only the first time, and when requirements change; {tool}) ...")
        if found is None or (found.python, found.folder) != (wanted.python, wanted.folder):
            create(venv, uv)
        say("Installing the packages ...")
        install(venv, root / (DEV if with_tests else RUN), uv)
        write_stamp(venv, wanted)
        say(f"Ready after {time.monotonic() - started:.0f} s.")


def enter_virtualenv(root_folder: str, argv: list[str]) -> None:
    """Continues in `.venv`, building it first if needed; does not return if it has to change over.

    Does nothing inside `.venv` already, or where CLINIC_IN_PLACE=1 says that the packages are
    installed in this Python (the container image).
    """
    root = Path(root_folder)
    venv = root / ".venv"
    if os.environ.get("CLINIC_IN_PLACE") == "1" or Path(sys.prefix).resolve() == venv.resolve():
        return
    try:
        build(root, with_tests=argv[1:2] == ["test"])
    except CannotStart as problem:
        sys.exit(str(problem))
    python = str(venv_python(venv))
    sys.stdout.flush()
    os.execv(python, [python, str(root / "manage.py"), *argv[1:]])


def prepare_environment(root_folder: str, argv: list[str]) -> None:
    """Sets what `demo` and `serve` need before the settings are read.

    `demo` gets a data folder of its own, so that it never touches the data of `serve`. The port is
    chosen here, because every link in a mail contains it.
    """
    command = argv[1] if len(argv) > 1 else ""
    if command == "demo":
        os.environ.setdefault("CLINIC_DATA_DIR", str(Path(root_folder) / "var" / "demo"))
        os.environ["CLINIC_DEMO"] = "1"
    if command in {"demo", "serve"}:
        options = argparse.ArgumentParser(add_help=False, allow_abbrev=False)
        options.add_argument("--port", type=int)
        options.add_argument("--host", default="127.0.0.1")
        asked, _ = options.parse_known_args(argv[2:])
        try:
            port = free_port(asked.host, asked.port)
        except CannotStart as problem:
            sys.exit(str(problem))
        os.environ["CLINIC_PORT"] = str(port)
        os.environ.setdefault("PUBLIC_URL", f"http://127.0.0.1:{port}")


def free_port(host: str, asked: int | None) -> int:
    """The port asked for, or else the first free one from 8000 on."""
    for port in [asked] if asked is not None else range(FIRST_PORT, FIRST_PORT + 100):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, port))
            except (OSError, OverflowError):
                continue
            return port
    if asked is not None:
        raise CannotStart(
            f"Port {asked} is taken or not allowed. Leave --port out to get a free one."
        )
    raise CannotStart(f"No free port from {FIRST_PORT} to {FIRST_PORT + 99} on {host}.")
