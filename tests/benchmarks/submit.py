"""What handing in a quiz costs, in multiples of a bare view that writes the same rows.

    .venv/bin/python -m tests.benchmarks.submit [sqlite] [postgres] [--quizzes 60]

Each quiz has 12 questions and is the patient's, so that a submission, 12 answers, an identity
decision and a clearance are written. The floor, in the same run: a plain Django view that writes
rows of the same size in one transaction, asked by the same client through the same middleware.
Fails when the median is more than 2 times the floor's.
"""

import argparse
import sys

from tests.benchmarks.in_own_process import measure


def main() -> int:
    """Measure on each database in a process of its own; 1 when one costs too much."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("databases", nargs="*", default=["sqlite", "postgres"])
    parser.add_argument("--quizzes", type=int, default=60)
    options = parser.parse_args()
    return measure(options.databases, "submit_measured", options.quizzes)


if __name__ == "__main__":
    sys.exit(main())
