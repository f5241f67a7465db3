"""Redis restarted, flushed, silent (promise B4, fault 14).  `-m tests.long.redis_soak [RESTARTS]`

Two invitations a second are written for as long as it takes, on PostgreSQL, with the settings of
production: a worker of two processes, the scheduler with its own times, a mail server (aiosmtpd).
Meanwhile Valkey is killed and started anew 20 times, flushed 5 times, and stopped 3 times for ten
seconds so that it accepts and never answers. After each of them it is measured how long it takes
until something is sent that was written after it.

Kept when that is at most 60 s each time, no row is lost, and nothing goes out twice. Leaves with 1
if not.
"""

import os
import subprocess
import sys

from tests.long.installation import ROOT, installation


def main() -> int:
    """Start the servers, and soak in a process with the settings of production."""
    restarts = sys.argv[1] if len(sys.argv) > 1 else "20"
    with installation() as found:
        command = [sys.executable, "-m", "tests.long.soaked", str(found.folder), restarts]
        print(f"load {os.getloadavg()[0]:.1f} at the beginning, {os.cpu_count()} processors")
        return subprocess.run(command, cwd=ROOT, env=found.environment, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
