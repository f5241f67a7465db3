"""The soak of tests/long/redis_soak.py."""

import os
import random
import signal
import sys
import threading
import time
from collections import Counter
from contextlib import ExitStack
from pathlib import Path
from urllib.parse import urlsplit

import django

django.setup()

import redis  # noqa: E402 - only after the setup
from django.conf import settings  # noqa: E402
from django.core.management import call_command  # noqa: E402
from django.db import connection  # noqa: E402

from education.invite import invite  # noqa: E402
from education.models import Message, MessageState  # noqa: E402
from patients.clock import now  # noqa: E402
from tests import servers  # noqa: E402
from tests.factories import a_patient, a_programme, an_assignment, an_operation  # noqa: E402
from tests.long.forked import end, fork, schedule, work  # noqa: E402
from tests.long.installation import until  # noqa: E402

FOLDER = Path(sys.argv[1])
RESTARTS = int(sys.argv[2])
FLUSHES, SILENCES = max(RESTARTS // 4, 1), max(RESTARTS // 6, 1)
SILENT_FOR, LIMIT = 10.0, 60.0  # seconds
PAUSE = 0.5  # seconds between two invitations
PORT = urlsplit(settings.REDIS_URL).port or 0
GOING = (MessageState.WAITING, MessageState.SENDING)


class Broker:
    """Valkey on one port, started and killed at will."""

    def __init__(self) -> None:
        self.running = ExitStack()
        self.pid, self.stopped = 0, False
        self.start()

    def start(self) -> None:
        """Start one with nothing in it."""
        self.running.enter_context(servers.valkey(PORT))

    def restart(self) -> None:
        """`kill -9`, and a second later a new one."""
        self.signal(signal.SIGKILL)
        self.running.close()
        time.sleep(1)
        self.start()

    def flush(self) -> None:
        """Forget every hint."""
        with redis.Redis(port=PORT) as client:
            client.flushall()

    def silence(self) -> None:
        """Accept connections and answer nothing for a while."""
        self.signal(signal.SIGSTOP)
        time.sleep(SILENT_FOR)
        self.signal(signal.SIGCONT)

    def signal(self, number: signal.Signals) -> None:
        """Send a signal to the server's process; one that is stopped cannot be asked for its id."""
        if not self.stopped:
            with redis.Redis(port=PORT) as client:
                self.pid = int(client.info("server")["process_id"])
        os.kill(self.pid, number)
        self.stopped = number == signal.SIGSTOP


class Writer(threading.Thread):
    """Invites somebody every half second; counts what failed, which should be nothing."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.going, self.failed, self.written = True, 0, 0
        self.slowest = 0.0  # seconds

    def run(self) -> None:
        """Write until told to end."""
        while self.going:
            begun = time.monotonic()
            try:
                address = f"s{self.written}@example.org"
                operation = an_operation(patient=a_patient(email=address))
                invite(an_assignment(operation=operation), at=now())
                self.written += 1
            except Exception as broken:  # counted, whatever it is
                print(type(broken).__name__, flush=True)
                self.failed += 1
            self.slowest = max(self.slowest, time.monotonic() - begun)
            time.sleep(PAUSE)
        connection.close()


def sent_after(pk: int) -> bool:
    """True once something that was written after this row has gone out."""
    return Message.objects.filter(pk__gt=pk, state=MessageState.SENT).exists()


def main() -> int:
    """Soak; 1 when a promise is broken."""
    call_command("migrate", verbosity=0)
    a_programme()
    an_assignment()
    broker = Broker()
    processes = [fork("worker", work, log=FOLDER), fork("beat", schedule, log=FOLDER)]
    writer = Writer()
    begun = time.monotonic()
    events = ["restart"] * RESTARTS + ["flush"] * FLUSHES + ["silence"] * SILENCES
    random.Random(5).shuffle(events)
    waits: dict[str, list[float]] = {"restart": [], "flush": [], "silence": []}
    try:
        writer.start()
        until(lambda: sent_after(0), 120)
        for event in events:
            getattr(broker, event)()
            last = Message.objects.order_by("-pk").values_list("pk", flat=True)[0]
            waits[event].append(until(lambda: sent_after(last), 180))  # noqa: B023 - ends here
            print(f"{event}: sending again after {waits[event][-1]:.1f} s", flush=True)
        writer.going = False
        writer.join()
        until(lambda: not Message.objects.filter(state__in=GOING).exists(), 300)
    finally:
        end(processes)
        broker.running.close()
    return told(writer, waits, time.monotonic() - begun)


def told(writer: Writer, waits: dict[str, list[float]], took: float) -> int:
    """Say how it went; 1 when a promise is broken."""
    lines = (FOLDER / "accepted").read_text().splitlines()
    taken = Counter(line.split()[0] for line in lines)
    rows = dict(Message.objects.values_list("message_id", "state"))
    lost = sum(key not in taken or state != MessageState.SENT for key, state in rows.items())
    twice = sum(taken.values()) - len(taken)
    longest = max(max(some) for some in waits.values())
    print(f"{took:.0f} s; {len(rows)} emails, {lost} lost, {twice} twice")
    print(f"{writer.failed} acts failed, the slowest took {writer.slowest:.1f} s")
    for event, some in waits.items():
        print(f"{len(some)} x {event}: sending again after at most {max(some):.1f} s ({LIMIT:.0f})")
    return int(bool(lost or twice or writer.failed or longest > LIMIT))


if __name__ == "__main__":
    sys.exit(main())
