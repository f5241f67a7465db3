"""Measured by tests/benchmarks/mail_rate.py, in a process of its own."""

import cProfile
import os
import pstats
import resource
import smtplib
import sys
import time
from datetime import timedelta
from email.message import EmailMessage
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import django

django.setup()

from django.conf import settings  # noqa: E402 - only after the setup
from django.core.management import call_command  # noqa: E402
from django.urls import get_resolver  # noqa: E402

from education.invite import invite  # noqa: E402
from education.models import Invitation, Message, MessageState  # noqa: E402
from education.send import sweep  # noqa: E402
from patients import wake  # noqa: E402
from patients.clock import now  # noqa: E402
from tests.factories import a_programme, an_assignment, an_operation  # noqa: E402
from tests.long.forked import fork  # noqa: E402

LIMIT = 0.5  # of the bare loop's rate
WORDS = "x" * 70 + "\n"


def main() -> int:
    """Measure; 1 when it is too slow or something did not go out."""
    number = int(sys.argv[1])
    call_command("migrate", verbosity=0)
    wake.publisher.offer = lambda hint: True  # type: ignore[method-assign]  # no broker is asked
    begun = time.perf_counter()
    _write(number)
    print(f"{number} invitations written in {time.perf_counter() - begun:.1f} s", flush=True)
    get_resolver().url_patterns  # noqa: B018  # read once in a worker's life, and takes a second
    floor = _bare(number)
    print(f"the bare loop: {floor:.0f} a second", flush=True)
    used = _processor_time()
    begun = time.perf_counter()
    if "--profile" in sys.argv:
        _profiled()
    else:
        _send_all(int(sys.argv[2]))
    ours = number / (time.perf_counter() - begun)
    used = (_processor_time() - used) / number * 1000
    floor = (floor + _bare(number)) / 2
    sent = Message.objects.filter(state=MessageState.SENT).count()
    print(
        f"{sent} of {number} sent; {ours:.0f} a second; the bare loop {floor:.0f}: "
        f"{ours / floor:.2f} of its rate (limit {LIMIT:g}); "
        f"{used:.1f} ms of our processor time each; load {os.getloadavg()[0]:.1f}"
    )
    return int(sent != number or ours < LIMIT * floor)


def _send_all(senders: int) -> None:
    """Each in a process of its own, as the workers are."""
    with TemporaryDirectory() as folder:
        log = Path(folder)
        for child in [fork("sender", _sweep_until_empty, log=log) for _ in range(senders)]:
            _, status = os.waitpid(child, 0)
            if status:
                sys.exit((log / "sender.log").read_text())


def _sweep_until_empty() -> None:
    while sweep(at=now() + timedelta(seconds=1)):
        pass


def _profiled() -> None:
    profile = cProfile.Profile()
    profile.runcall(_sweep_until_empty)
    pstats.Stats(profile).sort_stats("cumulative").print_stats(60)


def _processor_time() -> float:
    """Seconds of this process and of the senders that ended."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def _write(number: int) -> None:
    """One by the acts, the others like it: as many rows as invitations have, in bulk."""
    a_programme()
    invitation = invite(an_assignment(operation=an_operation()), at=now())
    assert isinstance(invitation, Invitation)
    message, assignment = invitation.message, invitation.assignment
    operation = assignment.operation
    patients = _like(operation.patient, number - 1, mrn="M-{}", email="reader-{}@example.org")
    operations = _like(operation, number - 1, case_number="C-{}", patient=patients)
    assignments = _like(assignment, number - 1, operation=operations)
    invitations = _like(
        invitation, number - 1, assignment=assignments, address="reader-{}@example.org"
    )
    _like(
        message,
        number - 1,
        message_id="<{}@larkfield.example>",
        address="reader-{}@example.org",
        patient=patients,
        invitation=invitations,
    )


def _like(row: Any, number: int, **own: Any) -> list[Any]:
    """Rows that differ in these columns: a text with the number in it, or a row for each."""
    columns = {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields}
    for name in ("id", *(f"{name}_id" for name in own)):
        columns.pop(name, None)
    made = []
    for n in range(number):
        values = {
            name: value.format(n) if isinstance(value, str) else value[n]
            for name, value in own.items()
        }
        made.append(type(row)(**{**columns, **values}))
    return list(type(row)._default_manager.bulk_create(made, batch_size=1000))


def _bare(number: int) -> float:
    message = EmailMessage()
    message["From"], message["To"] = settings.MAIL_FROM, "reader@example.org"
    message["Subject"], message["Message-ID"] = "Your personal link", "<x@larkfield.example>"
    message.set_content(WORDS * 12)
    message.add_alternative(f"<html>{WORDS * 18}</html>", subtype="html")
    text = message.as_string()
    begun = time.perf_counter()
    with smtplib.SMTP(settings.EMAIL_HOST, settings.EMAIL_PORT) as server:
        for _ in range(number):
            server.sendmail(settings.MAIL_FROM, "reader@example.org", text)
    return number / (time.perf_counter() - begun)


if __name__ == "__main__":
    sys.exit(main())
