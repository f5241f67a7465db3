"""What the workers do: load nothing, make one call; each is safe to run twice.

A machine whose clock is off sends nothing: another would take its lease for over (fault 18). That
it is off stands on /readyz, and in the log.
"""

import logging
import time

from celery import shared_task
from django.conf import settings

from education.identify import identify_lately
from education.mailbox import look
from education.reminders import daily_mail
from education.send import SWEEP_FOR, send, sweep
from patients.clock import now
from patients.database_clock import on_time

log = logging.getLogger(__name__)


@shared_task(name="education.tasks.send_message")
def send_message(message_id: int) -> None:
    """Send one waiting email."""
    if _may_send():
        send(message_id, at=now())


@shared_task(name="education.tasks.sweep_messages")
def sweep_messages() -> None:
    """Send whatever waits and was missed; as long as some went out there may be more."""
    begun = time.monotonic()
    while _may_send() and sweep(at=now()) and time.monotonic() - begun < SWEEP_FOR:
        pass


@shared_task(name="education.tasks.write_daily_mail")
def write_daily_mail() -> None:
    """Write today's invitations and reminders, once a local day however often this is called."""
    if _may_send():
        daily_mail(at=now())


@shared_task(name="education.tasks.ask_again_whose")
def ask_again_whose() -> None:
    """Whose are the quizzes of the last minutes that the rule left undecided?"""
    identify_lately(at=now())


@shared_task(name="education.tasks.read_mailbox")
def read_mailbox() -> None:
    """Take in what came to the programme's mailbox, if one is set."""
    if settings.IMAP_HOST:
        look(at=now())


def _may_send() -> bool:
    fits = on_time()
    if not fits:
        log.error("Nothing is sent from here: this machine's clock is off the database's")
    return fits
