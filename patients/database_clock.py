"""How far this machine's clock is off the database's, which all machines share (fault 18).

A lease, and when a message is due, are instants by a machine's own clock. A machine that is ahead
by more than a lease would take a message from a sender who is still at it, and send it twice.
"""

import time
from datetime import UTC, datetime, timedelta

from django.db import connection

from patients.clock import now

# The shortest lease is 90 s (education/send.py); a sender may need most of it.
TOLERATED = timedelta(seconds=20)
LOOK_EVERY = 60.0  # seconds
ASK = {
    "postgresql": "SELECT clock_timestamp()",
    "sqlite": "SELECT strftime('%Y-%m-%dT%H:%M:%f+00:00', 'now')",
}

_looked = (float("-inf"), False)  # when, by the monotonic clock, and what was found


def ahead() -> timedelta:
    """Return by how much this machine's clock is ahead of the database's; negative if behind."""
    with connection.cursor() as cursor:
        before = now()
        cursor.execute(ASK[connection.vendor])
        said = cursor.fetchone()[0]
    there = said if isinstance(said, datetime) else datetime.fromisoformat(said)
    return before + (now() - before) / 2 - there.astimezone(UTC)


def on_time() -> bool:
    """True if this machine's clock may be trusted with leases; looked at once a minute."""
    global _looked
    looked_at, fits = _looked
    if time.monotonic() - looked_at > LOOK_EVERY:
        fits = abs(ahead()) <= TOLERATED
        _looked = (time.monotonic(), fits)
    return fits
