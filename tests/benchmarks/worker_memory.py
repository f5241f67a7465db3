"""Does a worker grow?  `-m tests.benchmarks.worker_memory [TASKS]`

A worker of two processes with the settings of production takes TASKS (10,000) tasks off Valkey: the
sweep, single emails of which some are there to be sent, the daily mail, the digests, duplicates and
the note that the schedule runs. Measured is the memory of its own (PSS, /proc/PID/smaps_rollup,
proc(5)) of all its processes: after the first tenth of the tasks, when everything is loaded, and
after the last. Asked: at most 20 MB more.
"""

import argparse
import os
import sys

from tests import servers
from tests.benchmarks.in_own_process import run
from tests.long.installation import installation


def main() -> int:
    """Start the servers, and measure in a process with the settings of production."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("tasks", nargs="?", type=int, default=10_000)
    options = parser.parse_args()
    with installation() as found, servers.valkey(found.redis_port):
        print(f"load {os.getloadavg()[0]:.1f} at the beginning, {os.cpu_count()} processors")
        module = "tests.benchmarks.worker_memory_measured"
        command = [sys.executable, "-m", module, str(found.folder), str(options.tasks)]
        return run(command, found.environment)


if __name__ == "__main__":
    sys.exit(main())
