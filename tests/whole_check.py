"""`manage.py test`: the whole check, or with a path only pytest on that path.

Without arguments: format, lint, types, import contracts, migrations, translations, the suite on
SQLite and on PostgreSQL, and the journeys in a real browser. Every step runs, whatever failed
before; the exit status is 0 only if all of them passed.

Two lines of steps run beside each other, so that no processor waits: the journeys wait for pages
and mails half of their time. Whichever ends first is followed by PostgreSQL's. What a step says is
shown when it has ended, in one piece.
"""

import os
import shlex
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Generator
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path

from clinic.children import Children, stop_on_signals
from tests import chromium, servers

ROOT = Path(__file__).resolve().parent.parent
PROGRAMS = Path(sys.executable).parent
MANAGE = [sys.executable, "manage.py"]
# Named here because importing clinic has named the product's own settings in the environment.
PYTEST = [sys.executable, "-m", "pytest", "--ds=tests.settings"]
JOURNEYS = "tests/journeys"
MIGRATED = "--migrations"  # the tables of PostgreSQL are made as a programme's are
TABLES = "clear_by_tables"  # in the whole check they are made once, in a database that is copied
# Tests that ask no database (tests/test_whole_check.py holds them to it) are run once.
NO_DATABASE = (
    "tests/patients/rules",
    "tests/education/rules",
    "tests/reference",
    "tests/clinic/test_compose.py",
    "tests/clinic/test_folder_broker.py",
    "tests/clinic/test_rehearse_matching.py",
    "tests/clinic/test_ruler.py",
    "tests/clinic/test_timeline.py",
    "tests/education/test_markdown.py",
    "tests/education/test_readability.py",
    "tests/education/test_starter_modules.py",
    "tests/education/test_translations.py",
    "tests/test_chromium.py",
    "tests/test_faults.py",
)
# What is only written or shown is so on both alike; that PostgreSQL answers what these pages
# ask, tests/clinic/test_access.py sees there, which opens every page as every role.
SHOWN_ALIKE = (
    "tests/clinic/evidence/test_as_csv.py",
    "tests/clinic/evidence/test_as_fhir.py",
    "tests/clinic/evidence/test_as_pdf.py",
    "tests/clinic/evidence/test_every_kind.py",
    "tests/clinic/evidence/test_gather.py",
    "tests/clinic/evidence/test_read_back.py",
    "tests/clinic/test_calendar_feed.py",
    "tests/clinic/test_call_sheet.py",
    "tests/clinic/test_demo_scenario.py",
    "tests/clinic/test_digest.py",
    "tests/clinic/test_duplicates.py",
    "tests/clinic/test_eating_plan.py",
    "tests/clinic/test_eating_stages.py",
    "tests/clinic/test_failures.py",
    "tests/clinic/test_fhir_intake.py",
    "tests/clinic/test_headers.py",
    "tests/clinic/test_how_it_reads.py",
    "tests/clinic/test_intake.py",  # its acts: tests/patients/test_intake.py
    "tests/clinic/test_intake_words.py",
    "tests/clinic/test_look_again.py",
    "tests/clinic/test_mail.py",
    "tests/clinic/test_merged_record.py",
    "tests/clinic/test_message_upload.py",
    "tests/clinic/test_module_files.py",
    "tests/clinic/test_module_writing.py",
    "tests/clinic/test_morning.py",  # what it asks is in test_morning_asked.py
    "tests/clinic/test_moving_eating_words.py",
    "tests/clinic/test_operation_plan.py",
    "tests/clinic/test_other_names.py",
    "tests/clinic/test_other_ways.py",
    "tests/clinic/test_patient_page.py",
    "tests/clinic/test_postgres.py",  # starts one of its own
    "tests/clinic/test_programme.py",
    "tests/clinic/test_questions.py",
    "tests/clinic/test_quiz_measured.py",
    "tests/clinic/test_rehearsal.py",
    "tests/clinic/test_requirements.py",
    "tests/clinic/test_requiring.py",
    "tests/clinic/test_running.py",
    "tests/clinic/test_schedule_reading.py",
    "tests/clinic/test_second_clinician.py",
    "tests/clinic/test_settings.py",
    "tests/clinic/test_sign_edition.py",
    "tests/clinic/test_sign_in.py",
    "tests/clinic/test_staff.py",
    "tests/clinic/test_standing_command.py",
    "tests/clinic/test_submissions.py",
    "tests/clinic/test_typed_before.py",
    "tests/clinic/views/test_clearance_record.py",
    "tests/clinic/views/test_mail_tray.py",
    "tests/education/test_clear_by_instants.py",
    "tests/education/test_emails.py",
    "tests/education/test_files_beside.py",
    "tests/education/test_foresee.py",
    "tests/education/test_half_made.py",
    "tests/education/test_mailbox.py",
    "tests/education/test_patient_links.py",
    "tests/education/test_patient_pages.py",
    "tests/education/test_patient_walks.py",
    "tests/education/test_plan_link.py",
    "tests/education/test_plan_page.py",
    "tests/education/test_publish_command.py",
    "tests/education/test_published_reading.py",
    "tests/education/test_question_kinds.py",
    "tests/education/test_third_language.py",
    "tests/test_manage.py",
)
# Single tests of other files: what fails there the test makes fail before the database is asked,
# or what they vary is compared in Python.
ONCE = (
    "tests/clinic/test_operations.py::test_whichever_query_fails_no_page_says_confirm",
    "tests/clinic/test_operations.py::"
    "test_whichever_query_fails_while_confirming_either_all_is_recorded_or_nothing",
    "tests/patients/test_duplicates.py::test_the_engine_says_who_may_be_one_person",
    "tests/patients/test_import_schedule.py::test_fault_25_more_than_100_000_rows",
)
LOOK = 0.1  # seconds between two looks at what runs
AT_A_TIME = 2  # lines


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
        with tempfile.TemporaryDirectory(prefix="clear-by-check-") as folder:
            return whole(Path(folder))
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
            wanted.insert(0, MIGRATED)
        return subprocess.run([*PYTEST, *wanted], env=os.environ | env, check=False).returncode


def start_servers(running: ExitStack) -> dict[str, str]:
    """Starts PostgreSQL and Valkey; returns the variables by which the tests find them."""
    database = running.enter_context(servers.postgres())
    database.make(TABLES)
    return {
        **database.environment(),
        "TEST_REDIS_URL": running.enter_context(servers.valkey()),
    }


def whole(folder: Path) -> int:
    """Runs every step, then says how each ended. `folder` is for data and for what steps say."""
    started = time.monotonic()
    with ExitStack() as running:
        results = []
        try:
            on_postgres = start_servers(running)
        except servers.CannotStart as problem:
            print(problem, flush=True)
            results.append(Result("servers", False, time.monotonic() - started))
            on_postgres = {}
        env = {
            "CLINIC_DATA_DIR": str(folder / "data"),
            # Else each of some hundred processes compiles the product anew, and pytest its tests.
            "PYTHONDONTWRITEBYTECODE": "",
        }
        results += beside(lines(on_postgres), env, folder)
    return summary(results, time.monotonic() - started)


def lines(on_postgres: dict[str, str]) -> list[list[Step]]:
    """The steps, in lines. Without a PostgreSQL its line is left out: its lack has failed."""
    redis = {name: on_postgres[name] for name in ("TEST_REDIS_URL",) if name in on_postgres}
    sqlite = {"TEST_DATABASE": "sqlite", **redis}
    # Each process starts with a half of its own, so that what a file sets up is set up once.
    spread = ["-n", "2", "--dist", "worksteal"]
    suite = [*PYTEST, *spread, "-q", "--durations=20", f"--ignore={JOURNEYS}", "tests"]
    browser = [
        Step("browser", [sys.executable, "-m", "tests.chromium"]),
        # One after the other: each worker would build a site of its own, on the same cores.
        Step("journeys in the browser", [*PYTEST, "-q", "--durations=20", JOURNEYS], sqlite),
    ]
    found = [[*CHECKS, *browser], [Step("tests on SQLite", suite, sqlite)]]
    if on_postgres:
        without = [f"--ignore={path}" for path in (*NO_DATABASE, *SHOWN_ALIKE)]
        without += [f"--deselect={test}" for test in ONCE]
        found.append(
            [
                Step(
                    "PostgreSQL's tables",
                    [*MANAGE, "migrate", "--settings=tests.settings", "--verbosity=0"],
                    {**on_postgres, "TEST_POSTGRES_NAME": TABLES},
                ),
                Step(
                    "tests on PostgreSQL",
                    [*suite, *without],
                    {**on_postgres, "TEST_POSTGRES_TEMPLATE": TABLES},
                ),
            ]
        )
    return found


def beside(lines: list[list[Step]], env: dict[str, str], folder: Path) -> list[Result]:
    """Runs the lines, two beside each other; returns the results in the order in which they came.

    The first two begin; where one ends, the next begins.
    """
    print("Two steps run at a time. What each of them says is shown when it has ended.", flush=True)
    results: list[Result] = []
    running = [in_turn(line, env, folder) for line in lines[:AT_A_TIME]]
    waiting = [in_turn(line, env, folder) for line in lines[AT_A_TIME:]]
    try:
        while running:
            time.sleep(LOOK)
            for line in running.copy():
                try:
                    ended = next(line)
                except StopIteration:
                    running.remove(line)
                    running += [waiting.pop(0)] if waiting else []
                else:
                    results += [ended] if ended else []
    finally:
        for line in running:
            line.close()
    return results


def in_turn(
    steps: list[Step], env: dict[str, str], folder: Path
) -> Generator[Result | None, None, None]:
    """Runs steps one after the other; yields None while one runs, and each result."""
    for step in steps:
        log = folder / f"{step.name}.log"
        started = time.monotonic()
        with Children() as children:
            child = children.start(
                step.name, step.command, log=log, env=os.environ | env | step.env, folder=ROOT
            )
            try:
                while child.process.poll() is None:
                    yield None
            finally:
                # If it still runs, this is the end of the whole check: pytest tidies up on Ctrl-C.
                children.end(signal.SIGINT)
                result = Result(
                    step.name, child.process.returncode == 0, time.monotonic() - started
                )
                show(step, log.read_text(errors="replace"), result)
        yield result


def show(step: Step, said: str, result: Result) -> None:
    """Prints a step: its command, what it said, and how it ended."""
    print(f"\n=== {step.name}: {shlex.join(readable(step.command))}")
    print(said, end="" if said.endswith("\n") or not said else "\n")
    print(f"--- {step.name}: {word(result.passed)} in {result.seconds:.1f} s", flush=True)


def readable(command: list[str]) -> list[str]:
    """The command without the folder of the environment."""
    return [part.removeprefix(f"{PROGRAMS}{os.sep}") for part in command]


def summary(results: list[Result], seconds: float) -> int:
    """Says how each step ended, and how long all of it took; returns the exit status."""
    print("\n=== summary", flush=True)
    for result in results:
        print(f"{word(result.passed):<6} {result.seconds:7.1f} s  {result.name}")
    failed = [result.name for result in results if not result.passed]
    print(f"{seconds:14.1f} s  in all")
    print(f"Failed: {', '.join(failed)}." if failed else "Everything passed.", flush=True)
    return 1 if failed else 0


def word(passed: bool) -> str:
    """The word for how something ended."""
    return "ok" if passed else "FAILED"
