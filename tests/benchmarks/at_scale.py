"""The operations page on a big register, in multiples of hand-written queries for the same rows.

    .venv/bin/python -m tests.benchmarks.at_scale [--patients 100000] [--operations 5000]

Starts a throw-away PostgreSQL, fills it (tests/benchmarks/big_register.py), and asks in turn, the
product's way and by one hand-written psycopg query for the same rows: the week view, what changed
under a confirmation, the search, and one standing. Fails when one is more than 3 times its query,
or when the number of queries grows with the rows. Asked for were 1,000,000 and 50,000.
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
    """Start the server and measure in a process of its own; 1 when a promise is not kept."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--patients", type=int, default=100_000)
    parser.add_argument("--operations", type=int, default=5_000)
    options = parser.parse_args()
    command = [sys.executable, "-m", "tests.benchmarks.at_scale_measured"]
    command += [str(options.patients), str(options.operations)]
    with postgres() as server, tempfile.TemporaryDirectory(prefix="clear-by-scale-") as data:
        environment = os.environ | {
            "DATABASE_URL": f"postgresql://postgres@{quote(server.host, safe='')}/postgres",
            "CLINIC_DATA_DIR": data,
            "LOG_LEVEL": "ERROR",
        }
        return subprocess.run(command, cwd=ROOT, env=environment, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
