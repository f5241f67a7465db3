"""How long does importing 10,000 rows take on a register that is large already?

    .venv/bin/python -m tests.benchmarks.import_apply [sqlite] [postgres] [--people N] [--rows N]

Each database is measured in a process of its own (tests/benchmarks/import_rows.py). Asked: 10,000
rows preview in 10 s and apply in 30 s. Exits with 1 when that is broken. `--profile` prints where
the time goes.
"""

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from urllib.parse import quote

from tests.servers import postgres

ROOT = Path(__file__).resolve().parent.parent.parent


def main() -> int:
    """Measure the asked databases one after another."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("databases", nargs="*", default=["sqlite", "postgres"])
    parser.add_argument("--people", type=int, default=100_000)
    parser.add_argument("--rows", type=int, default=10_000)
    parser.add_argument("--profile", action="store_true")
    options = parser.parse_args()
    return max(run(name, options) for name in options.databases)


def run(database: str, options: argparse.Namespace) -> int:
    """Measure one database; 1 if a promise is broken."""
    command = [sys.executable, "-m", "tests.benchmarks.import_rows"]
    command += ["--people", str(options.people), "--rows", str(options.rows)]
    command += ["--profile"] if options.profile else []
    with tempfile.TemporaryDirectory(prefix="clear-by-import-") as data:
        environment = os.environ | {"CLINIC_DATA_DIR": data, "LOG_LEVEL": "ERROR"}
        print(f"\n{database}", flush=True)
        if database == "sqlite":
            environment.pop("DATABASE_URL", None)
            return subprocess.run(command, cwd=ROOT, env=environment, check=False).returncode
        with postgres() as server:
            address = f"postgresql://postgres@{quote(server.host, safe='')}/postgres"
            environment["DATABASE_URL"] = address
            return subprocess.run(command, cwd=ROOT, env=environment, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
