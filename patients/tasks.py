"""What the workers do for the register: make one call; safe to run twice."""

from celery import shared_task

from patients.clock import now
from patients.duplicates import compare_waiting
from patients.match_keys import FIND_DUPLICATES
from patients.wake import wake


@shared_task(name=FIND_DUPLICATES)
def find_duplicates() -> None:
    """Compare the records that changed with the register, and come back if it takes long."""
    if not compare_waiting(at=now()):
        wake(FIND_DUPLICATES)
