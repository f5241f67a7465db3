"""The operations page on a big register, in multiples of hand-written queries for the same rows.

    .venv/bin/python -m tests.benchmarks.at_scale [--patients 100000] [--operations 5000]

Starts a throw-away PostgreSQL, fills it (tests/benchmarks/big_register.py), and asks in turn, the
product's way and by one hand-written psycopg query for the same rows: the week view, what changed
under a confirmation, the search, and one standing. Fails when one is more than 3 times its query,
or when the number of queries grows with the rows. Asked for were 1,000,000 and 50,000.
"""

import argparse
import sys

from tests.benchmarks.in_own_process import measure


def main() -> int:
    """Start the server and measure in a process of its own; 1 when a promise is not kept."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--patients", type=int, default=100_000)
    parser.add_argument("--operations", type=int, default=5_000)
    options = parser.parse_args()
    return measure(["postgres"], "at_scale_measured", options.patients, options.operations)


if __name__ == "__main__":
    sys.exit(main())
