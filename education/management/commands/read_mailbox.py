"""manage.py read_mailbox: take in delivery reports and answers, from the mailbox or from files."""

import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from education.mailbox import Taken, look, read_folder
from patients.clock import now

EVERY = 60.0  # seconds


class Command(BaseCommand):
    help = "Read the programme's mailbox (IMAP), every minute until stopped, or files of a folder."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The mailbox once, or a folder."""
        which = parser.add_mutually_exclusive_group()
        which.add_argument("--once", action="store_true", help="read the mailbox once")
        which.add_argument("--folder", metavar="DIR", help="read the files *.eml of a folder")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print how many mails were taken; leave with 1 if the mailbox cannot be read."""
        if options["folder"]:
            folder = Path(options["folder"])
            if not folder.is_dir():
                raise CommandError(f"{folder} is not a folder.")
            self.say(read_folder(folder, at=now()))
            return
        if not settings.IMAP_HOST:
            raise CommandError("No mailbox is set: IMAP_HOST.")
        if options["once"]:
            taken = look(at=now())
            if taken is None:
                raise CommandError("The mailbox cannot be read; the log says why.")
            self.say(taken)
            return
        while True:
            taken = look(at=now())
            if taken is not None and taken.new:
                self.say(taken)
            time.sleep(EVERY)

    def say(self, taken: Taken) -> None:
        """Print the counts."""
        self.stdout.write(f"{taken.new} taken, {taken.known} known already.")
