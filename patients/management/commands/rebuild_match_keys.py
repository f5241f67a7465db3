"""`manage.py rebuild_match_keys`: make the look-up tables of the identity rule anew."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from patients.clock import now
from patients.duplicates import find_duplicates
from patients.match_keys import rebuild

SHOWN = 20  # record ids


class Command(BaseCommand):
    """Exit code 0: the tables are true now. With --check, 1 if they were not."""

    help = (
        "Compares the look-up tables of the identity rule with the register, mends them, and says "
        "where they had drifted. Safe to run at any time, and twice."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Only look, or look for duplicates as well."""
        parser.add_argument("--check", action="store_true", help="only say what is wrong")
        parser.add_argument(
            "--duplicates",
            action="store_true",
            help="also compare every record with the register, for pairs that may be one person",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Rebuild, and report by record id: names are not for a terminal."""
        check = options["check"]
        drift = rebuild(mend=not check)
        self.stdout.write(f"{drift.patients} records looked at.")
        self._tell(drift.missing, "could not be found under some name, date or key")
        self._tell(drift.leftover, "were found under one that is not theirs")
        if check and drift:
            raise CommandError("The tables have drifted. Without --check this command mends them.")
        self.stdout.write("The look-up tables are true." if not drift else "Mended.")
        if options["duplicates"] and not check:
            self.stdout.write(f"{find_duplicates(at=now())} records compared with the register.")

    def _tell(self, ids: set[int], what: str) -> None:
        if ids:
            shown = ", ".join(map(str, sorted(ids)[:SHOWN]))
            more = f" and {len(ids) - SHOWN} more" if len(ids) > SHOWN else ""
            self.stdout.write(f"{len(ids)} {what}: record {shown}{more}")
