"""The rounds of tests/long/kills.py."""

import random
import smtplib
import sys
import time
from collections import Counter
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import django

django.setup()

from django.core.management import call_command  # noqa: E402 - only after the setup
from django.db import transaction  # noqa: E402

from clinic import task_tallies  # noqa: E402
from education import by_email, send  # noqa: E402
from education.invite import Refusal, invite  # noqa: E402
from education.models import Message, MessageState  # noqa: E402
from patients import wake  # noqa: E402
from patients.clock import now  # noqa: E402
from tests.factories import (  # noqa: E402
    OperationFacts,
    PatientFacts,
    a_patient,
    a_programme,
    an_assignment,
    an_operation,
)
from tests.long.forked import die, end, fork, gone, schedule, work  # noqa: E402
from tests.long.installation import until  # noqa: E402

WRITTEN = 12  # invitations a round
GOING = (MessageState.WAITING, MessageState.SENDING)
FOLDER = Path(sys.argv[1])


def on_call(count: int, thing: Any, name: str, *, after: bool = False) -> None:
    """Die at a call of a function: the `count`-th in its process."""
    real: Callable[..., Any] = getattr(thing, name)
    left = [count]

    def deadly(*args: Any, **named: Any) -> Any:
        left[0] -= 1
        if left[0] > 0:
            return real(*args, **named)
        if after:
            real(*args, **named)
        return die()

    setattr(thing, name, deadly)


def recorded(count: int) -> None:
    """Die when the server has accepted, before that is on record."""
    on_call(count, send, "_sent")


def finished(count: int) -> None:
    """Die when a task has sent an email, before the broker hears that it is done."""
    real_sent, real_note = send._sent, task_tallies.note
    sent = [0]

    def on_record(**values: Any) -> int:
        sent[0] += 1
        return real_sent(**values)

    def deadly(*args: Any, **named: Any) -> None:
        if sent[0] >= count:
            die()
        real_note(*args, **named)

    vars(send)["_sent"] = on_record
    vars(task_tallies)["note"] = deadly


def taken(count: int) -> None:
    """Die when a sender, told by a hint or by the sweep, is about to claim what waits."""
    real = send._claim
    left = [count]

    def deadly(*args: Any, **named: Any) -> list[Message]:
        left[0] -= Message.objects.filter(state=MessageState.WAITING).exists()
        if left[0] <= 0:
            die()
        return real(*args, **named)

    vars(send)["_claim"] = deadly


# Where the process that writes ends, and where the worker does.
WRITING: dict[str, Callable[[int], None]] = {
    "before the commit": lambda n: on_call(n, transaction, "on_commit", after=True),
    "committed, before the hint": lambda n: on_call(n, wake, "_offer"),
}
SENDING: dict[str, Callable[[int], None]] = {
    "work taken, before the claim": taken,
    "claimed, before the token": lambda n: on_call(n, by_email, "issue_token"),
    "token made, before the connection": lambda n: on_call(n, by_email, "issue_token", after=True),
    "recipient named, before the text": lambda n: on_call(n, smtplib.SMTP, "data"),
    "accepted, before it is on record": recorded,
    "on record, before the task's end": finished,
}


def write(addresses: list[str]) -> None:
    """Invite somebody at each address; each in a transaction of its own, as a click does."""
    for address in addresses:
        with transaction.atomic():
            assignment = an_assignment(operation=an_operation(patient=a_patient(email=address)))
            invited = invite(assignment, at=now())
            if isinstance(invited, Refusal):
                raise ValueError(invited)
    time.sleep(0.5)  # the hints go out in the background


def live(number: int, chance: random.Random) -> tuple[str, Counter[str]]:
    """One round; returns the point, and what went wrong."""
    points = [*WRITING, *SENDING]
    point = points[number % len(points)]
    addresses = [f"r{number}-{n}@example.org" for n in range(WRITTEN)]
    at = chance.randrange(1, 4)
    # Each writer counts for itself, in a process that is gone afterwards.
    for facts in (PatientFacts, OperationFacts):
        facts.reset_sequence(1000 * (number + 1), force=True)  # type: ignore[no-untyped-call]

    def write_and_die() -> None:
        WRITING[point](at)
        write(addresses)

    def work_and_die() -> None:
        SENDING[point](at)
        work()

    if point in WRITING:
        writer = fork("writer", write_and_die, log=FOLDER)
        until(lambda: gone(writer))
    else:
        worker = fork("killed-worker", work_and_die, log=FOLDER)
        writer = fork("writer", lambda: write(addresses), log=FOLDER)
        until(lambda: gone(worker), 120)
        until(lambda: gone(writer), 120)
        end([worker])
    worker = fork("worker", work, log=FOLDER)
    try:
        until(lambda: not Message.objects.filter(state__in=GOING).exists(), 180)
    finally:
        end([worker])
    return point, wrong(addresses)


def wrong(addresses: list[str]) -> Counter[str]:
    """What the mail server took, held against what is on record."""
    arrived = Counter(
        (line.split()[0], line.split()[1])
        for line in (FOLDER / "accepted").read_text().splitlines()
        if line.split()[1] in addresses
    )
    rows = Message.objects.filter(address__in=addresses)
    on_record = {(row.message_id, row.address): row.state for row in rows}
    return Counter(
        written=len(on_record),
        lost=sum(key not in arrived for key in on_record),
        unsettled=sum(state != MessageState.SENT for state in on_record.values()),
        rolled_back=sum(key not in on_record for key in arrived),
        extra=sum(arrived.values()) - len(arrived),
    )


def main() -> int:
    """Run the rounds; 1 when a promise is broken."""
    rounds = int(sys.argv[2])
    call_command("migrate", verbosity=0)
    a_programme()
    chance = random.Random(11)
    send.LEASE = timedelta(seconds=3)
    beat = fork("beat", lambda: schedule(1.0), log=FOLDER)
    begun, in_all, broken = time.monotonic(), Counter[str](), 0
    try:
        for number in range(rounds):
            point, counts = live(number, chance)
            allowed = int(point == "accepted, before it is on record")
            bad = counts["lost"] + counts["unsettled"] + counts["rolled_back"]
            bad += counts["extra"] > allowed
            broken += bool(bad)
            in_all += counts
            print(f"{number + 1:2} {point}: {dict(counts)}", "BROKEN" if bad else "", flush=True)
    finally:
        end([beat])
    took = time.monotonic() - begun
    print(f"{rounds} rounds, {took:.0f} s: {dict(in_all)}; broken: {broken or 'none'}")
    return int(bool(broken))


if __name__ == "__main__":
    sys.exit(main())
