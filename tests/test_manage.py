"""The first minute on a bare machine: manage.py and first_run.py, before anything is installed."""

import ast
import json
import os
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest

import first_run
import manage

ROOT = Path(__file__).resolve().parent.parent


@pytest.mark.parametrize(
    "version, usable",
    [
        ((3, 6, 15), False),
        ((3, 9, 2), False),  # Debian 11
        ((3, 10, 13), False),
        ((3, 11, 0), True),  # Debian 12
        ((3, 13, 5), True),  # Debian 13
        ((3, 14, 0), False),  # newer than what the packages were tried on
    ],
)
def test_a_python_that_does_not_fit_gets_one_line(
    version: tuple[int, int, int], usable: bool
) -> None:
    complaint = manage.python_complaint(version)
    assert (complaint == "") == usable
    assert "\n" not in complaint
    if not usable:
        assert ".".join(map(str, version)) in complaint
        assert "apt-get install python3 python3-venv" in complaint


def test_old_pythons_can_read_manage_py() -> None:
    """3.7 is the oldest grammar that the standard library can still check against."""
    ast.parse((ROOT / "manage.py").read_text(), feature_version=(3, 7))


@pytest.mark.parametrize("name", ["python3.6", "python3.8", "python3.10"])
def test_an_old_python_that_is_installed_here_says_its_line(name: str) -> None:
    """With a real old Python, where the machine has one; the grammar check above stands always."""
    program = shutil.which(name)
    answer = (
        subprocess.run(
            [program, str(ROOT / "manage.py"), "demo"], capture_output=True, text=True, check=False
        )
        if program
        else None
    )
    # A version manager may have the name and not the Python: exit 127.
    if answer is not None and answer.returncode != 127:
        assert answer.returncode == 1
        assert answer.stderr.startswith("This needs Python 3.11")
        assert answer.stderr.count("\n") == 1


@pytest.mark.parametrize(
    "has_uv, missing, line",
    [
        (False, [], ""),
        (True, ["venv", "ensurepip"], ""),  # uv makes environments by itself
        (False, ["ensurepip"], "apt-get install python3.12-venv"),  # Debian without python3-venv
        (False, ["venv", "ensurepip"], "apt-get install python3.12-venv"),
    ],
)
def test_a_missing_venv_module_names_the_package(
    has_uv: bool, missing: list[str], line: str
) -> None:
    complaint = first_run.venv_complaint((3, 12), has_uv=has_uv, missing=missing)
    assert complaint.endswith(line)
    assert bool(complaint) == bool(line)
    assert "\n" not in complaint


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A folder with two requirement files and an environment that looks complete."""
    (tmp_path / first_run.RUN).write_text("a==1\n")
    (tmp_path / first_run.DEV).write_text("a==1\nb==2\n")
    python = first_run.venv_python(tmp_path / ".venv")
    python.parent.mkdir(parents=True)
    python.touch()
    return tmp_path


def stamp(project: Path, *, with_tests: bool = False, minor: int = 12) -> first_run.Stamp:
    return first_run.wanted_stamp(project, (3, minor), with_tests=with_tests)


def test_an_environment_serves_as_long_as_nothing_changed(project: Path) -> None:
    first_run.write_stamp(project / ".venv", stamp(project))
    found = first_run.read_stamp(project / ".venv")
    assert found is not None
    assert found.satisfies(stamp(project))


def test_the_environment_for_tests_also_runs_but_not_the_other_way(project: Path) -> None:
    run, test = stamp(project), stamp(project, with_tests=True)
    assert test.satisfies(run)
    assert not run.satisfies(test)


def test_it_is_built_again_when_requirements_python_or_folder_change(
    project: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    before = stamp(project)
    assert not before.satisfies(stamp(project, minor=13))
    (project / first_run.RUN).write_text("a==2\n")
    assert not before.satisfies(stamp(project))
    elsewhere = tmp_path_factory.mktemp("copy") / "project"
    shutil.copytree(project, elsewhere)
    assert not stamp(project).satisfies(stamp(elsewhere))


@pytest.mark.parametrize("content", ["", "{", "[]", '{"python": "3.12"}'])
def test_an_unreadable_stamp_counts_as_none(project: Path, content: str) -> None:
    (project / ".venv" / first_run.STAMP).write_text(content)
    assert first_run.read_stamp(project / ".venv") is None


def test_an_environment_whose_python_is_gone_counts_as_none(project: Path) -> None:
    first_run.write_stamp(project / ".venv", stamp(project))
    first_run.venv_python(project / ".venv").unlink()
    assert first_run.read_stamp(project / ".venv") is None


def test_the_stamp_is_plain_json(project: Path) -> None:
    first_run.write_stamp(project / ".venv", stamp(project))
    assert json.loads((project / ".venv" / first_run.STAMP).read_text())["python"] == "3.12"


def test_a_taken_port_is_passed_over_and_named_when_asked_for() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(first_run.CannotStart, match=f"Port {port} is taken"):
            first_run.free_port("127.0.0.1", port)
        assert first_run.free_port("127.0.0.1", None) != port


def test_both_requirement_files_pin_and_hash_every_package() -> None:
    for name in (first_run.RUN, first_run.DEV):
        lines = (ROOT / name).read_text().splitlines()
        packages = [line for line in lines if line and not line[0].isspace()]
        assert packages
        assert all("==" in line and line.rstrip().endswith("\\") for line in packages)
        assert "http" not in "".join(lines)


def test_the_test_requirements_contain_the_run_requirements() -> None:
    def pinned(name: str) -> set[str]:
        lines = (ROOT / name).read_text().splitlines()
        return {line.rstrip(" \\") for line in lines if line and not line[0].isspace()}

    assert pinned(first_run.RUN) <= pinned(first_run.DEV)


def test_manage_py_works_under_the_environments_own_python(tmp_path: Path) -> None:
    answer = subprocess.run(
        [sys.executable, "manage.py", "check"],
        cwd=ROOT,
        env=os.environ
        | {"CLINIC_DATA_DIR": str(tmp_path), "DJANGO_SETTINGS_MODULE": "clinic.settings"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert answer.returncode == 0, answer.stderr
