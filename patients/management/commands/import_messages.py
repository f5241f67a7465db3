"""`manage.py import_messages FILE...`: take in files of schedule messages."""

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from patients.clock import now
from patients.import_messages import Imported, Line, preview
from patients.import_messages import apply as write
from patients.intake import Conflict, Taken, reasons_of
from patients.management.commands.import_schedule import read_within_limit
from patients.message_words import STEPS, reason_words, refusal_words
from patients.models import Procedure, Step
from patients.programme import NotFounded
from patients.rules.message_reading import NotTaken
from patients.rules.schedule_changes import Verdict
from patients.schedule_words import change_words


class Command(BaseCommand):
    """Exit code 0: every message was taken. 1: some were rejected, or a file cannot be read."""

    help = (
        "Takes in files of HL7 v2 scheduling messages or FHIR R4 bundles. Shows what they would "
        "do; --apply does it. "
        "What waits for a person is kept on the intake page."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The files, and whether to write."""
        parser.add_argument("files", type=Path, metavar="FILE", nargs="+")
        how = parser.add_mutually_exclusive_group()
        how.add_argument("--preview", action="store_true", help="write nothing (the default)")
        how.add_argument("--apply", action="store_true", help="write it")

    def handle(self, *args: Any, **options: Any) -> None:
        """Goes through the files, each in one transaction."""
        procedures = dict(Procedure.objects.values_list("id", "name"))
        rejected = 0
        for path in options["files"]:
            found = self.take(path, apply=options["apply"])
            self.show(found, path, procedures)
            rejected += found.counts[Verdict.REJECTED] - found.not_ours
        if not options["apply"]:
            self.stdout.write("Nothing was written: this is a preview. Say --apply to write it.")
        if rejected:
            sys.exit(1)

    def take(self, path: Path, *, apply: bool) -> Imported:
        """Previews or applies one file."""
        try:
            act = write if apply else preview
            found: Imported = act(read_within_limit(path), at=now(), name=path.name)
        except OSError as error:
            raise CommandError(f"{path} cannot be read: {error.strerror}.") from error
        except NotTaken as refused:
            raise CommandError(f"{path}: {' '.join(refusal_words(refused))}") from refused
        except NotFounded as error:
            raise CommandError("There is no programme yet: run `manage.py serve` once.") from error
        return found

    def show(self, found: Imported, path: Path, procedures: dict[int, str]) -> None:
        """Prints the counts first, then each message that is not simply unchanged."""
        counts = "  ".join(f"{verdict} {count}" for verdict, count in found.counts.items())
        self.stdout.write(f"Messages in {path.name} {len(found.lines)}:  {counts}")
        if found.waiting:
            self.stdout.write(f"Of the rejected, {found.waiting} wait on the intake page.")
        if found.not_ours:
            self.stdout.write(f"Of the rejected, {found.not_ours} are no procedure of ours.")
        for line in found.lines:
            self.show_line(line, procedures)

    def show_line(self, line: Line, procedures: dict[int, str]) -> None:
        """Prints what came of one message."""
        came = line.came
        if isinstance(came, Taken):
            step = STEPS[Step(came.step.step)]
            told = f"{step}{', as it was before' if came.repeated else ''}."
            if came.judged and came.judged.proposal and line.verdict != Verdict.REJECTED:
                changes = "; ".join(change_words(came.judged.proposal, procedures))
                told += f" {changes}." if changes else ""
            said = reasons_of(came.reading, came.judged) if came.judged else []
            told = f"{came.reading.trigger} {came.reading.control_id}: {told}"
        elif isinstance(came, Conflict):
            told, said = "its control id was used for another message before.", []
        else:
            told, said = " ".join(refusal_words(came)), []
        self.stdout.write(f"  line {line.number}: {line.verdict}. {told}")
        for kept in said:
            where, what, fix = reason_words(kept, procedures)
            told = " ".join(filter(None, (f"{where}:" if where else "", what, fix)))
            self.stdout.write(f"    {told}")
