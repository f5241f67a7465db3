"""Mail that goes nowhere: each message becomes a file, for the demo and for development."""

import uuid
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.mail.backends.base import BaseEmailBackend
from django.core.mail.message import EmailMessage


class Backend(BaseEmailBackend):
    """Writes each message, as it would go over the wire, to the data folder as an .eml file.

    File names sort by the time of sending.
    """

    def __init__(self, fail_silently: bool = False, **kwargs: Any) -> None:
        super().__init__(fail_silently=fail_silently, **kwargs)
        self.folder = Path(settings.DATA_DIR) / "mail"

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        """Writes the messages that have a recipient; returns how many."""
        self.folder.mkdir(parents=True, exist_ok=True)
        sent = 0
        for message in email_messages:
            if not message.recipients():
                continue
            stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%fZ")
            path = self.folder / f"{stamp}-{uuid.uuid4().hex[:8]}.eml"
            draft = path.with_suffix(".part")
            draft.write_bytes(message.message().as_bytes().replace(b"\n", b"\r\n"))
            draft.rename(path)
            sent += 1
        return sent
