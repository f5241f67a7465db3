"""`manage.py publish FILE ...`: publish module files as the next edition of each module.

`manage.py publish --help` tells the format of a file (`education/management/module_format.txt`).
"""

from argparse import ArgumentParser, RawDescriptionHelpFormatter
from pathlib import Path
from typing import Any

from django.core.management import BaseCommand, CommandError

from education.drafting import latest_edition, what_changed
from education.edition_record import record_of
from education.files_beside import FilesBesideError, with_files
from education.models import Edition
from education.publish import publish
from education.rules.module_text import ModuleText, ModuleTextError, read_module
from patients.clock import now

FORMAT = Path(__file__).parent.parent / "module_format.txt"


class Command(BaseCommand):
    """Publishes; an edition never changes afterwards."""

    help = "Publish module files (TOML, like those in education/starter/) as new editions."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The files, and whether earlier clearances still count."""
        parser.formatter_class = RawDescriptionHelpFormatter
        parser.epilog = FORMAT.read_text(encoding="utf-8").replace("%", "%%")
        parser.add_argument("file", nargs="+", type=Path)
        parser.add_argument(
            "--earlier-clearances-stop-counting",
            action="store_true",
            help="patients cleared on an earlier edition must be cleared anew",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Read all the files first: nothing is published when one of them has a problem."""
        texts = [self.read(path) for path in options["file"]]
        for text in texts:
            before = latest_edition(text.code)
            edition = publish(
                text,
                at=now(),
                earlier_clearances_count=not options["earlier_clearances_stop_counting"],
            )
            languages = ", ".join(edition.languages)
            self.stdout.write(f"{text.code}: edition {edition.number} published ({languages}).")
            if before:
                self.tell_changes(before, edition)

    def tell_changes(self, before: Edition, edition: Edition) -> None:
        """Say what is different from the edition before, and what becomes of clearances on it."""
        changed = what_changed(record_of(edition), before)
        for one in changed:
            arrow = f" ({one.before} -> {one.after})" if one.before or one.after else ""
            named = one.change.replace("_", " ")
            self.stdout.write(f"  {named}{': ' if one.about else ''}{one.about}{arrow}")
        if not changed:
            self.stdout.write(f"  Nothing changed since edition {before.number}.")
        count = "still count" if edition.earlier_clearances_count else "do not count any more"
        self.stdout.write(f"  Clearances on earlier editions {count}.")

    def read(self, path: Path) -> ModuleText:
        """Return the text of a module file; CommandError names every problem in it."""
        try:
            text = read_module(path.read_text(encoding="utf-8"))
            return with_files(text, path.parent, at=now())
        except OSError as problem:
            raise CommandError(f"{path}: {problem.strerror}") from problem
        except UnicodeDecodeError as problem:
            raise CommandError(f"{path}: not UTF-8 text") from problem
        except (ModuleTextError, FilesBesideError) as problem:
            raise CommandError(f"{path}:\n{problem}") from problem
