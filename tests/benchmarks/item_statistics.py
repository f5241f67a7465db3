"""How long does it take to say whether a quiz measures anything?

    .venv/bin/python -m tests.benchmarks.item_statistics [sqlite] [postgres] [--quizzes 10000]

10,000 submissions of 12 questions, a tenth of them second tries, are analysed from the query to the
last figure (limit 2 s). The floors, in the same run: one hand-written statement that counts the
same answers, and a bare read of all answers, which a program needs that counts them itself.
"""

import argparse
import sys

from tests.benchmarks.in_own_process import measure


def main() -> int:
    """Measure on each database in a process of its own; 1 when one takes too long."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("databases", nargs="*", default=["sqlite", "postgres"])
    parser.add_argument("--quizzes", type=int, default=10_000)
    options = parser.parse_args()
    return measure(options.databases, "item_statistics_measured", options.quizzes)


if __name__ == "__main__":
    sys.exit(main())
