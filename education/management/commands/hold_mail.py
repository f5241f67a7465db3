"""`manage.py hold_mail REASON`: nothing leaves until a member of staff releases it.

To be run on a database that was restored from a backup, before any worker is started: what it takes
for waiting may have gone out since (fault 23).
"""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from education import mail_hold
from patients.clock import now


class Command(BaseCommand):
    """Hold all mail."""

    help = "Holds all mail, after a database was restored, say. It is released on the mail page."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Why: it stands on the mail page."""
        parser.add_argument("reason", help="shown to staff beside the hold")

    def handle(self, *args: Any, **options: Any) -> None:
        """Hold it, unless it is held."""
        held = mail_hold.hold(reason=options["reason"], at=now(), by_id=None)
        said = "All mail is held from now on" if held else "All mail was held already"
        self.stdout.write(f"{said}, until a member of staff releases it on the mail page.")
