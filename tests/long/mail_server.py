"""A mail server in a process of its own: `-m tests.long.mail_server PORT FILE`, on the loopback.

Takes everything, and appends a line for each message that it accepted: its Message-ID and its
recipient. The line is on disk before the sender hears that the message was taken, so whatever
happens to the sender, the file says what arrived.
"""

import email
import email.policy
import sys
import time
from typing import TextIO

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session


class Accepts:
    """What aiosmtpd calls for each message."""

    def __init__(self, file: TextIO) -> None:
        self.file = file

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802
        """Note the message, then take it."""
        head = (envelope.original_content or b"").partition(b"\r\n\r\n")[0]
        named = email.message_from_bytes(head, policy=email.policy.compat32)["Message-ID"]
        self.file.write(f"{named} {envelope.rcpt_tos[0]}\n")
        self.file.flush()
        return "250 OK"


def main() -> None:
    """Serve until killed."""
    port, path = int(sys.argv[1]), sys.argv[2]
    with open(path, "a", encoding="utf-8") as file:
        controller = Controller(Accepts(file), hostname="127.0.0.1", port=port)
        controller.start()
        while True:
            time.sleep(3600)


if __name__ == "__main__":
    main()
