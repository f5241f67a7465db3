"""`manage.py backup FOLDER`: everything that is on record, at one instant, while people work."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from clinic.backups.about import Refused, read_about
from clinic.backups.make import back_up
from clinic.trail import seal
from patients.clock import now


class Command(BaseCommand):
    """Leaves with 1, and without a backup, when anything of it cannot be done."""

    help = (
        "Writes the database, the uploads and the languages into FOLDER: a folder for each backup, "
        "and the uploads once for all. It holds patients' facts: keep it closed and encrypted. The "
        "secrets (SECRET_KEY and the passwords) are not in it: keep them elsewhere."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Where to."""
        parser.add_argument("folder", type=Path, metavar="FOLDER")

    def handle(self, *args: Any, **options: Any) -> None:
        """Make it, and say what is in it."""
        sealed = str(seal())  # before the copy, so that the copy bears it out
        try:
            made = back_up(options["folder"], at=now(), seal=sealed, using=connection)
        except Refused as why:
            raise CommandError(str(why)) from None
        except OSError as why:
            raise CommandError(f"There is no backup: {why.strerror}: {why.filename}") from None
        about = read_about(made)
        rows, tables = sum(about.rows.values()), len(about.rows)
        self.stdout.write(f"{made}: {rows} rows of {tables} tables. Seal of the trail: {sealed}")
