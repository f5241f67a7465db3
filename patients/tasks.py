"""What the workers do for the register: make one call; safe to run twice."""

from celery import shared_task

from patients.clock import now
from patients.duplicates import compare_waiting
from patients.wake import wake


@shared_task(name="patients.tasks.find_duplicates")
def find_duplicates() -> None:
    """Compare the records that changed with the register, and come back if it takes long."""
    if not compare_waiting(at=now()):
        wake("patients.tasks.find_duplicates")
