"""A real IMAP server in a process of its own (pymap), with one empty mailbox in memory."""

import imaplib
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.servers import STARTING, CannotStart, free_port

TLS = Path(__file__).resolve().parent / "tls"
USER, PASSWORD = "demouser", "a-mailbox-of-its-own"


@dataclass(frozen=True)
class ImapServer:
    """Where it listens; it offers STARTTLS with a certificate for 127.0.0.1."""

    port: int

    def client(self) -> imaplib.IMAP4:
        """Sign in."""
        server = imaplib.IMAP4("127.0.0.1", self.port, timeout=5)
        server.starttls(ssl.create_default_context(cafile=str(TLS / "ca.pem")))
        server.login(USER, PASSWORD)
        return server

    def deliver(self, *mails: bytes) -> None:
        """Put mails into the inbox."""
        client = self.client()
        for mail in mails:
            said, _ = client.append("INBOX", "", "", mail)
            assert said == "OK"
        client.logout()

    def count(self, folder: str) -> int:
        """How many mails lie in a folder."""
        client = self.client()
        said, found = client.select(folder, readonly=True)
        client.logout()
        return int(found[0] or 0) if said == "OK" else 0


@contextmanager
def imap_server() -> Iterator[ImapServer]:
    """Start the server; ends with the block."""
    port = free_port()
    command = [
        str(Path(sys.executable).parent / "pymap"),
        "--host",
        "127.0.0.1",
        "--port",
        str(port),
    ]
    command += ["--cert", str(TLS / "server.pem"), "--key", str(TLS / "server.pem")]
    command += ["dict", "--demo-user", USER, "--demo-password", PASSWORD]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        server = ImapServer(port)
        deadline = time.monotonic() + STARTING
        while True:
            try:
                server.client().logout()
                break
            except OSError:
                if time.monotonic() > deadline or process.poll() is not None:
                    raise CannotStart("the IMAP server does not start") from None
                time.sleep(0.05)
        yield server
    finally:
        process.terminate()
        process.wait(timeout=10)
