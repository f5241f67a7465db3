"""What does a submit cost while Redis is silent?  `-m tests.benchmarks.silent_redis [--quizzes N]`

Quizzes are handed in on PostgreSQL, in turn with a Valkey that answers and with one that accepts
connections and never answers, and invitations are sent by hand, of which each gives a hint to the
sender. Asked: p95 rises by at most 50 ms (promise B1), and none fails.
"""

import argparse
import os
import socket
import sys

from tests import servers
from tests.benchmarks.in_own_process import run
from tests.long.installation import installation


def main() -> int:
    """Start the servers, and measure in a process with the settings of production."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quizzes", type=int, default=200, help="with each of the two")
    options = parser.parse_args()
    with (
        installation() as found,
        servers.valkey(found.redis_port),
        socket.socket() as silent,
    ):
        silent.bind(("127.0.0.1", 0))
        silent.listen()
        print(f"load {os.getloadavg()[0]:.1f} at the beginning, {os.cpu_count()} processors")
        module = "tests.benchmarks.silent_redis_measured"
        port = str(silent.getsockname()[1])
        command = [sys.executable, "-m", module, str(options.quizzes), port]
        return run(command, found.environment)


if __name__ == "__main__":
    sys.exit(main())
