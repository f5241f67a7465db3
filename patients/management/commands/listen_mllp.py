"""`manage.py listen_mllp`: take in HL7 v2 scheduling messages from the scheduling system."""

import asyncio
import signal
import ssl
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from patients.mllp import Listener
from patients.mllp_tls import NotUsable, tls_context
from patients.programme import NotFounded, current


class Command(BaseCommand):
    """Ends with exit code 0 on SIGTERM or Ctrl-C, after what is under way was answered."""

    help = (
        "Listens for HL7 v2 scheduling messages (SIU S12 to S15, S17, S26) over MLLP. Without "
        "--tls-cert it has neither sign-in nor encryption: then listen on the machine itself or on "
        "a closed network."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Where to listen."""
        parser.add_argument("--host", default="127.0.0.1")
        parser.add_argument("--port", type=int, default=2575, help="0 takes any free one")
        parser.add_argument(
            "--tls-cert",
            type=Path,
            metavar="FILE",
            default=settings.MLLP_TLS_CERT,
            help="certificate (PEM): speak TLS, 1.2 or later (or MLLP_TLS_CERT)",
        )
        parser.add_argument(
            "--tls-key",
            type=Path,
            metavar="FILE",
            default=settings.MLLP_TLS_KEY,
            help="its key, if that is in another file (or MLLP_TLS_KEY)",
        )
        parser.add_argument(
            "--tls-client-ca",
            type=Path,
            metavar="FILE",
            default=settings.MLLP_TLS_CLIENT_CA,
            help="let only who shows a certificate of these authorities connect "
            "(or MLLP_TLS_CLIENT_CA)",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Listens until it is told to end."""
        try:
            current()
        except NotFounded as error:
            raise CommandError("There is no programme yet: run `manage.py serve` once.") from error
        tls = self.tls(options["tls_cert"], options["tls_key"], options["tls_client_ca"])
        try:
            asyncio.run(self.listen(options["host"], options["port"], tls))
        except OSError as error:
            where = f"{options['host']}:{options['port']}"
            raise CommandError(f"Cannot listen on {where}: {error.strerror}.") from error

    def tls(
        self, certificate: Path | None, key: Path | None, client_ca: Path | None
    ) -> ssl.SSLContext | None:
        """Returns the encryption, None for none; half of it is an error."""
        if certificate is None:
            if key or client_ca:
                raise CommandError("TLS needs a certificate: give --tls-cert too.")
            return None
        try:
            return tls_context(certificate, key, client_ca)
        except NotUsable as error:
            raise CommandError(f"TLS is not possible: {error}.") from error

    async def listen(self, host: str, port: int, tls: ssl.SSLContext | None) -> None:
        """Runs the listener."""
        listener = Listener(host, port, tls)
        loop = asyncio.get_running_loop()
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(number, listener.stopping.set)
        how = " with TLS" if tls else ""
        if tls and tls.verify_mode == ssl.CERT_REQUIRED:
            how += ", for clients with a certificate"
        await listener.run(lambda bound: self.stdout.write(f"Listening on {host}:{bound}{how}."))
        self.stdout.write("Ended.")
