"""What the workers do: load nothing, make one call; each is safe to run twice."""

from celery import shared_task

from education.send import send, sweep
from patients.clock import now


@shared_task(name="education.tasks.send_message")
def send_message(message_id: int) -> None:
    """Send one waiting email."""
    send(message_id, at=now())


@shared_task(name="education.tasks.sweep_messages")
def sweep_messages() -> None:
    """Send whatever waits and was missed."""
    sweep(at=now())
