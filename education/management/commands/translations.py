"""`manage.py translations`: bring the Spanish catalogue in step, or check that it is."""

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from education.translations import (
    CATALOGUE,
    catalogue_path,
    catalogue_problems,
    untranslated,
    update_catalogue,
)


class Command(BaseCommand):
    """Update the catalogue, or with --check list what is wrong with it."""

    help = (
        "Take the texts that patients read into the Spanish catalogue and compile it. "
        "With --check, change nothing and fail if a translation is missing, fuzzy or out of step."
    )
    # The catalogue needs no database and no working URL configuration.
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Add --check."""
        parser.add_argument("--check", action="store_true", help="change nothing, list problems")

    def handle(self, *args: Any, check: bool, **options: Any) -> None:
        """Update, or check."""
        if check:
            self._check()
        else:
            self._update()

    def _check(self) -> None:
        problems = catalogue_problems(settings.BASE_DIR)
        for problem in problems:
            self.stdout.write(problem)
        if problems:
            raise CommandError(
                f"{len(problems)} problems. Run: manage.py translations, then edit {CATALOGUE} "
                "and run it again."
            )
        self.stdout.write("The Spanish catalogue is complete and in step.")

    def _update(self) -> None:
        catalogue = update_catalogue(settings.BASE_DIR, timezone.now())
        to_do = untranslated(catalogue)
        self.stdout.write(
            f"{catalogue_path(settings.BASE_DIR)}: {len(catalogue)} messages, "
            f"{len(to_do)} to translate."
        )
