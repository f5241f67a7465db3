"""How fast do invitations leave?  `-m tests.benchmarks.mail_rate [N] [--senders 2] [--profile]`

N invitations (10,000) wait on PostgreSQL; the senders, each a process as the workers are, claim
them, look whether each is still wanted, make its token and its words, hand it to a mail server
(aiosmtpd, a process of its own) and put it on record. The floor, in the same run: a bare smtplib
loop that hands N ready messages of the same size to the same server over one connection, before
and after. Asked: half its rate.
"""

import argparse
import os
import sys

from tests.benchmarks.in_own_process import run
from tests.long.installation import installation


def main() -> int:
    """Start the servers, and measure in a process with the settings of production."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("number", nargs="?", type=int, default=10_000)
    parser.add_argument("--senders", type=int, default=2)
    parser.add_argument("--profile", action="store_true")
    options = parser.parse_args()
    arguments = [str(options.number), str(options.senders)]
    arguments += ["--profile"] if options.profile else []
    with installation() as found:
        command = [sys.executable, "-m", "tests.benchmarks.mail_rate_measured", *arguments]
        print(f"load {os.getloadavg()[0]:.1f} at the beginning, {os.cpu_count()} processors")
        return run(command, found.environment)


if __name__ == "__main__":
    sys.exit(main())
