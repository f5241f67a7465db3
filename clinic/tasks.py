"""What the workers do for the staff's side; safe to run twice."""

import logging

from celery import shared_task

from clinic.trail import seal

log = logging.getLogger(__name__)


@shared_task(name="clinic.tasks.log_trail_seal")
def log_trail_seal() -> None:
    """Write to the log where the trail ends: a second witness, outside the database.

    `manage.py verify_trail --seals FILE` holds the trail against it.
    """
    log.info("The trail's seal: %s", seal())
