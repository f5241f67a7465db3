"""What handing in a quiz costs, in multiples of a bare view that writes the same rows.

    .venv/bin/python -m tests.benchmarks.submit [sqlite] [postgres] [--quizzes 60]

Each quiz has 12 questions and is the patient's, so that a submission, 12 answers, an identity
decision and a clearance are written. The floor, in the same run: a plain Django view that writes
rows of the same size in one transaction, asked by the same client through the same middleware.
Fails when the median is more than 2 times the floor's.
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
    """Measure on each database in a process of its own; 1 when one costs too much."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("databases", nargs="*", default=["sqlite", "postgres"])
    parser.add_argument("--quizzes", type=int, default=60)
    options = parser.parse_args()
    failed = 0
    for database in options.databases:
        print(database, flush=True)
        with tempfile.TemporaryDirectory(prefix="clear-by-submit-") as data:
            if database == "sqlite":
                failed |= _measured(options.quizzes, CLINIC_DATA_DIR=data)
                continue
            with postgres() as server:
                url = f"postgresql://postgres@{quote(server.host, safe='')}/postgres"
                failed |= _measured(options.quizzes, CLINIC_DATA_DIR=data, DATABASE_URL=url)
    return failed


def _measured(quizzes: int, **settings: str) -> int:
    command = [sys.executable, "-m", "tests.benchmarks.submit_measured", str(quizzes)]
    environment = os.environ | settings | {"LOG_LEVEL": "ERROR"}
    return subprocess.run(command, cwd=ROOT, env=environment, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
