"""How long does importing 10,000 rows take on a register that is large already?

    .venv/bin/python -m tests.benchmarks.import_apply [sqlite] [postgres] [--people N] [--rows N]

Each database is measured in a process of its own (tests/benchmarks/import_rows.py). Asked: 10,000
rows preview in 10 s and apply in 30 s. Exits with 1 when that is broken. `--profile` prints where
the time goes.
"""

import argparse
import sys

from tests.benchmarks.in_own_process import measure


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
    arguments: list[object] = ["--people", options.people, "--rows", options.rows]
    if options.profile:
        arguments.append("--profile")
    return measure(options.databases, "import_rows", *arguments)


if __name__ == "__main__":
    sys.exit(main())
