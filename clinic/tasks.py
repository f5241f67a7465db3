"""What the workers do for the staff's side; safe to run twice."""

import logging

from celery import shared_task

from clinic.digest import write_digests
from clinic.look_again import look_at_everything
from clinic.models import ProcessKind
from clinic.task_tallies import seen
from clinic.trail import seal
from patients.clock import now

log = logging.getLogger(__name__)


@shared_task(name="clinic.tasks.log_trail_seal")
def log_trail_seal() -> None:
    """Write to the log where the trail ends: a second witness, outside the database.

    `manage.py verify_trail --seals FILE` holds the trail against it.
    """
    log.info("The trail's seal: %s", seal())


@shared_task(name="clinic.tasks.look_at_confirmations")
def look_at_confirmations() -> None:
    """Write to whoever confirmed an OR date that is not clear any more, once for each cause.

    Most of it is written in the transaction of the act that caused it. This finds what has no such
    act (an edition that ends earlier clearances), and does so several times a day.
    """
    look_at_everything(at=now())


@shared_task(name="clinic.tasks.write_morning_digests")
def write_morning_digests() -> None:
    """Write the digests whose hour has come, once a local day for each member of staff."""
    write_digests(at=now())


@shared_task(name="clinic.tasks.note_schedule")
def note_schedule() -> None:
    """Put on record that the scheduler, the broker and a worker are there and work together."""
    seen(ProcessKind.SCHEDULE, "schedule", at=now())
