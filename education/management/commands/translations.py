"""`manage.py translations`: bring a catalogue in step with the texts, or check that it is."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from education.translations import (
    CATALOGUE,
    catalogue_of,
    catalogue_path,
    catalogue_problems,
    untranslated,
    update_catalogue,
)
from education.translations import LANGUAGE as SPANISH
from patients.rules.languages import codes, name_of


class Command(BaseCommand):
    """Update the catalogue, or with --check list what is wrong with it."""

    help = (
        "Take the texts that patients read into the Spanish catalogue and compile it; with "
        "--language into that of a language which you added, in the folder of languages. "
        "With --check, change nothing and fail if a translation is missing, fuzzy or out of step."
    )
    # The catalogue needs no database and no working URL configuration.
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Add --check and --language."""
        parser.add_argument("--check", action="store_true", help="change nothing, list problems")
        parser.add_argument(
            "--language", choices=codes()[1:], default=SPANISH, help="its code; Spanish without it"
        )

    def handle(self, *args: Any, check: bool, language: str, **options: Any) -> None:
        """Update, or check."""
        # Spanish is part of the code; the others lie outside it.
        path = None if language == SPANISH else catalogue_of(language, settings.LANGUAGES_DIR)
        (self._check if check else self._update)(language, path)

    def _check(self, language: str, path: Path | None) -> None:
        problems = catalogue_problems(settings.BASE_DIR, language=language, path=path)
        for problem in problems:
            self.stdout.write(problem)
        if problems:
            raise CommandError(
                f"{len(problems)} problems. Run: manage.py translations{_again(language)}, then "
                f"edit {path or CATALOGUE} and run it again."
            )
        self.stdout.write(f"The {name_of(language)} catalogue is complete and in step.")

    def _update(self, language: str, path: Path | None) -> None:
        path = path or catalogue_path(settings.BASE_DIR)
        now = timezone.now()
        catalogue = update_catalogue(settings.BASE_DIR, now, language=language, path=path)
        to_do = untranslated(catalogue)
        self.stdout.write(f"{path}: {len(catalogue)} messages, {len(to_do)} to translate.")


def _again(language: str) -> str:
    return "" if language == SPANISH else f" --language {language}"
