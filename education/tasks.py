"""What the workers do: load nothing, make one call; each is safe to run twice."""

import time

from celery import shared_task
from django.conf import settings

from education.mailbox import look
from education.reminders import daily_mail
from education.send import send, sweep
from patients.clock import now

SWEEP_FOR = 60.0  # seconds: far below the time after which a task is taken for lost


@shared_task(name="education.tasks.send_message")
def send_message(message_id: int) -> None:
    """Send one waiting email."""
    send(message_id, at=now())


@shared_task(name="education.tasks.sweep_messages")
def sweep_messages() -> None:
    """Send whatever waits and was missed; as long as some went out there may be more."""
    begun = time.monotonic()
    while sweep(at=now()) and time.monotonic() - begun < SWEEP_FOR:
        pass


@shared_task(name="education.tasks.write_daily_mail")
def write_daily_mail() -> None:
    """Write today's invitations and reminders, once a local day however often this is called."""
    daily_mail(at=now())


@shared_task(name="education.tasks.read_mailbox")
def read_mailbox() -> None:
    """Take in what came to the programme's mailbox, if one is set."""
    if settings.IMAP_HOST:
        look(at=now())
