"""What the whole check leaves out on PostgreSQL asks no database."""

from pathlib import Path

import pytest

from tests.whole_check import NO_DATABASE, ONCE, ROOT, SHOWN_ALIKE, lines

MARKS = ("django_db", "from tests.factories", "from django.db", ".models import")


@pytest.mark.parametrize("path", NO_DATABASE)
def test_what_runs_once_asks_no_database(path: str) -> None:
    place = ROOT / path
    files = [place] if place.is_file() else sorted(place.glob("**/*.py"))
    assert files
    asking = [str(f) for f in files if any(mark in f.read_text("utf-8") for mark in MARKS)]
    assert asking == []


def test_every_test_runs_on_sqlite_and_all_but_those_on_postgres_too() -> None:
    steps = {step.name: step.command for line in lines({"TEST_REDIS_URL": "x"}) for step in line}
    left_out = {
        name: {a.partition("=")[2] for a in command if a.startswith(("--ignore=", "--deselect="))}
        for name, command in steps.items()
    }
    assert left_out["tests on SQLite"] == {"tests/journeys"}
    assert left_out["tests on PostgreSQL"] == {
        "tests/journeys",
        *NO_DATABASE,
        *SHOWN_ALIKE,
        *ONCE,
    }
    for named in left_out["tests on PostgreSQL"]:
        path, _, test = named.partition("::")
        assert (ROOT / path).exists(), named
        assert f"def {test}" in ((ROOT / path).read_text("utf-8") if test else "def "), named
    assert "tests/journeys" in steps["journeys in the browser"]
    assert Path(ROOT / "tests/journeys").is_dir()
