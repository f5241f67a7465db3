"""`manage.py test`: the whole check, or with a path only pytest on that path.

Without arguments: format, lint, types, import contracts, migrations, translations, the suite on
SQLite and on PostgreSQL, and the journeys in a real browser. Every step runs, whatever failed
before; the exit status is 0 only if all of them passed.
"""

import os
import shlex
import subprocess
import sys
import tempfile
import time
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path

from clinic.children import stop_on_signals
from tests import chromium, servers

ROOT = Path(__file__).resolve().parent.parent
PROGRAMS = Path(sys.executable).parent
MANAGE = [sys.executable, "manage.py"]
# Named here because importing clinic has named the product's own settings in the environment.
PYTEST = [sys.executable, "-m", "pytest", "--ds=tests.settings"]
JOURNEYS = "tests/journeys"


@dataclass(frozen=True)
class Step:
    """One step of the check: a name, the command, and what it adds to the environment."""

    name: str
    command: list[str]
    env: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Result:
    """How a step ended."""

    name: str
    passed: bool
    seconds: float


CHECKS = (
    Step("format", [str(PROGRAMS / "ruff"), "format", "--check", "--diff", "--quiet", "."]),
    Step("lint", [str(PROGRAMS / "ruff"), "check", "--quiet", "."]),
    Step("types", [sys.executable, "-m", "mypy"]),
    Step("import contracts", [str(PROGRAMS / "lint-imports")]),
    Step("migrations", [*MANAGE, "makemigrations", "--check", "--dry-run"]),
    Step("translations", [*MANAGE, "translations", "--check"]),
)


def main(arguments: list[str]) -> int:
    """Runs the whole check, or pytest on a part; returns the exit status."""
    os.chdir(ROOT)
    stop_on_signals()
    try:
        if arguments:
            return part(arguments)
        with tempfile.TemporaryDirectory(prefix="clear-by-check-") as data:
            return whole({"CLINIC_DATA_DIR": data})
    except KeyboardInterrupt:
        print("\nStopped before the end.", flush=True)
        return 130


def part(arguments: list[str]) -> int:
    """Runs pytest with the arguments, on SQLite, or with --postgres on a PostgreSQL of its own."""
    wanted = [argument for argument in arguments if argument != "--postgres"]
    if any("journeys" in argument for argument in wanted) and chromium.bring() is None:
        print(chromium.MISSING, file=sys.stderr)
        return 1
    with ExitStack() as running:
        env: dict[str, str] = {}
        if len(wanted) < len(arguments):
            env = start_servers(running)
        return subprocess.run([*PYTEST, *wanted], env=os.environ | env, check=False).returncode


def start_servers(running: ExitStack) -> dict[str, str]:
    """Starts PostgreSQL and Valkey; returns the variables by which the tests find them."""
    database = running.enter_context(servers.postgres())
    return {
        **database.environment(),
        "TEST_REDIS_URL": running.enter_context(servers.valkey()),
    }


def whole(env: dict[str, str]) -> int:
    """Runs every step, then says how each ended."""
    results = [run(step, env) for step in CHECKS]
    with ExitStack() as running:
        started = time.monotonic()
        header("browser and servers")
        lacking = []
        if chromium.bring() is None:
            lacking.append(chromium.MISSING)
        try:
            on_postgres = start_servers(running)
        except servers.CannotStart as problem:
            lacking.append(str(problem))
            on_postgres = {}
        for line in lacking:
            print(line, flush=True)
        results.append(Result("browser and servers", not lacking, time.monotonic() - started))
        for step in suites(on_postgres):
            results.append(run(step, env))
    return summary(results)


def suites(on_postgres: dict[str, str]) -> list[Step]:
    """The steps that run pytest. Without a PostgreSQL its step is left out: its lack has failed."""
    common = [*PYTEST, "-n", "2", "-q", "--durations=5"]
    redis = {name: on_postgres[name] for name in ("TEST_REDIS_URL",) if name in on_postgres}
    steps = [
        Step(
            "tests on SQLite",
            [*common, f"--ignore={JOURNEYS}", "tests"],
            {"TEST_DATABASE": "sqlite", **redis},
        )
    ]
    if on_postgres:
        steps.append(
            Step("tests on PostgreSQL", [*common, f"--ignore={JOURNEYS}", "tests"], on_postgres)
        )
    steps.append(
        Step(
            "journeys in the browser",
            # One after the other: each worker would build a site of its own, on the same cores.
            [*PYTEST, "-q", "--durations=5", JOURNEYS],
            {"TEST_DATABASE": "sqlite", **redis},
        )
    )
    return steps


def header(name: str) -> None:
    """The line above a step."""
    print(f"\n=== {name}", flush=True)


def run(step: Step, env: dict[str, str]) -> Result:
    """Runs one step with its output shown as it comes."""
    header(f"{step.name}: {shlex.join(readable(step.command))}")
    started = time.monotonic()
    ended = subprocess.run(
        step.command, env=os.environ | env | step.env, stdin=subprocess.DEVNULL, check=False
    )
    seconds = time.monotonic() - started
    passed = ended.returncode == 0
    print(f"--- {step.name}: {word(passed)} in {seconds:.1f} s", flush=True)
    return Result(step.name, passed, seconds)


def readable(command: list[str]) -> list[str]:
    """The command without the folder of the environment."""
    return [part.removeprefix(f"{PROGRAMS}{os.sep}") for part in command]


def summary(results: list[Result]) -> int:
    """Says how each step ended; returns the exit status."""
    print("\n=== summary", flush=True)
    for result in results:
        print(f"{word(result.passed):<6} {result.seconds:7.1f} s  {result.name}")
    failed = [result.name for result in results if not result.passed]
    total = sum(result.seconds for result in results)
    print(f"{total:14.1f} s  in all")
    print(f"Failed: {', '.join(failed)}." if failed else "Everything passed.", flush=True)
    return 1 if failed else 0


def word(passed: bool) -> str:
    """The word for how something ended."""
    return "ok" if passed else "FAILED"
