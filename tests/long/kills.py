"""`kill -9` at eight named points (promise B2, fault 13).  `-m tests.long.kills [ROUNDS]`

Each of the rounds (25) writes 12 invitations, ends every process of the sender, or of whoever
writes, at one of the points, and lets another worker go on. On PostgreSQL and Valkey, with a worker
of two processes, a scheduler and a mail server (aiosmtpd), each a process of its own. To wait less,
a lease is 3 s instead of 90 and the sweep comes every second instead of every 30.

Kept when no email is lost, none goes out for work that was rolled back, and for each kill at most
one goes out once more, and only where the mail server had accepted it. Leaves with 1 if not.
"""

import os
import subprocess
import sys

from tests import servers
from tests.long.installation import ROOT, installation


def main() -> int:
    """Start the servers, and run the rounds in a process with the settings of production."""
    rounds = sys.argv[1] if len(sys.argv) > 1 else "25"
    with installation() as found, servers.valkey(found.redis_port):
        command = [sys.executable, "-m", "tests.long.kill_rounds", str(found.folder), rounds]
        print(f"load {os.getloadavg()[0]:.1f} at the beginning, {os.cpu_count()} processors")
        return subprocess.run(command, cwd=ROOT, env=found.environment, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
