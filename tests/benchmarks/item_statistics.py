"""How long does it take to say whether a quiz measures anything?

    .venv/bin/python -m tests.benchmarks.item_statistics [sqlite] [postgres] [--quizzes 10000]

10,000 submissions of 12 questions, a tenth of them second tries, are analysed from the query to the
last figure (limit 2 s). The floors, in the same run: one hand-written statement that counts the
same answers, and a bare read of all answers, which a program needs that counts them itself.
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
    """Measure on each database in a process of its own; 1 when one takes too long."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("databases", nargs="*", default=["sqlite", "postgres"])
    parser.add_argument("--quizzes", type=int, default=10_000)
    options = parser.parse_args()
    failed = 0
    for database in options.databases:
        print(database, flush=True)
        with tempfile.TemporaryDirectory(prefix="clear-by-items-") as data:
            if database == "sqlite":
                failed |= _measured(options.quizzes, CLINIC_DATA_DIR=data)
                continue
            with postgres() as server:
                url = f"postgresql://postgres@{quote(server.host, safe='')}/postgres"
                failed |= _measured(options.quizzes, CLINIC_DATA_DIR=data, DATABASE_URL=url)
    return failed


def _measured(quizzes: int, **settings: str) -> int:
    command = [sys.executable, "-m", "tests.benchmarks.item_statistics_measured", str(quizzes)]
    environment = os.environ | settings | {"LOG_LEVEL": "ERROR"}
    return subprocess.run(command, cwd=ROOT, env=environment, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
