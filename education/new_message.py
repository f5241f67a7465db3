"""The row of one email, written in the transaction of the act that causes it (promise B2)."""

import uuid
from datetime import datetime
from typing import Any

from django.conf import settings

from education.models import Message
from patients.models import Patient
from patients.wake import wake


def new_message(
    purpose: str,
    *,
    at: datetime,
    patient: Patient | None = None,
    due: datetime | None = None,
    **facts: Any,
) -> Message:
    """Return a row that is not saved yet, due at once unless `due` says when.

    To a patient: at the address on file and in the patient's language. `facts` are other columns;
    to anybody else they hold `address` and `language`.
    """
    if patient is not None:
        facts = {"address": patient.email, "language": patient.language} | facts
    return Message(
        purpose=purpose,
        patient=patient,
        message_id=f"<{uuid.uuid4()}@{settings.MAIL_DOMAIN}>",
        next_try_at=due or at,
        recorded_at=at,
        **facts,
    )


def wake_sender(message_id: int) -> None:
    """Hint to the sender, after the transaction, that an email waits; the sweep finds it too."""
    wake("education.tasks.send_message", message_id)
