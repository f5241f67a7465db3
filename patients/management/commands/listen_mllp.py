"""`manage.py listen_mllp`: take in HL7 v2 scheduling messages from the scheduling system."""

import asyncio
import signal
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from patients.mllp import Listener
from patients.programme import NotFounded, current


class Command(BaseCommand):
    """Ends with exit code 0 on SIGTERM or Ctrl-C, after what is under way was answered."""

    help = (
        "Listens for HL7 v2 scheduling messages (SIU S12 to S15, S17, S26) over MLLP. MLLP has "
        "neither sign-in nor encryption: listen on the machine itself or on a closed network."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Where to listen."""
        parser.add_argument("--host", default="127.0.0.1")
        parser.add_argument("--port", type=int, default=2575, help="0 takes any free one")

    def handle(self, *args: Any, **options: Any) -> None:
        """Listens until it is told to end."""
        try:
            current()
        except NotFounded as error:
            raise CommandError("There is no programme yet: run `manage.py serve` once.") from error
        try:
            asyncio.run(self.listen(options["host"], options["port"]))
        except OSError as error:
            where = f"{options['host']}:{options['port']}"
            raise CommandError(f"Cannot listen on {where}: {error.strerror}.") from error

    async def listen(self, host: str, port: int) -> None:
        """Runs the listener."""
        listener = Listener(host, port)
        loop = asyncio.get_running_loop()
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(number, listener.stopping.set)
        await listener.run(lambda bound: self.stdout.write(f"Listening on {host}:{bound}."))
        self.stdout.write("Ended.")
