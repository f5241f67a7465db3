"""`manage.py restore BACKUP`: put a backup back into an empty database, with all mail held."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError, connection

from clinic.backups.about import About, Refused
from clinic.backups.put_back import differences, put_back
from clinic.management.commands.verify_trail import seals_in
from clinic.trail import first_broken, first_broken_seal


class Command(BaseCommand):
    """Leaves with 1 when nothing was put back, or what was does not bear itself out."""

    help = (
        "Puts a backup (FOLDER/2026-11-28T031500Z) back into a database without people in it. Mail "
        "is held until a member of staff releases it. Stop web, worker and beat before."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Which one."""
        parser.add_argument("backup", type=Path, metavar="BACKUP")

    def handle(self, *args: Any, **options: Any) -> None:
        """Put it back, then count and look through the trail."""
        try:
            about = put_back(options["backup"], using=connection)
        except Refused as why:
            raise CommandError(str(why)) from None
        self.stdout.write(f"Put back as of {about.made_at}. All mail is held; next:")
        self.stdout.write("  1. manage.py migrate, if the code is newer than the backup")
        self.stdout.write("  2. start it, look through the mail page, release the mail there")
        if found := differences(about, connection) + _trail(about):
            raise CommandError("It does not bear itself out:\n" + "\n".join(found))
        self.stdout.write("Every table has its rows, and the trail is whole.")


def _trail(about: About) -> list[str]:
    try:
        broken, lost = first_broken(), first_broken_seal(seals_in(about.seal))
    except DatabaseError:
        return ["The trail cannot be read yet: run manage.py migrate, then manage.py verify_trail."]
    if broken is None and lost is None:
        return []
    return [f"The trail is not what it was: entry {broken}, seal {lost}."]
