"""`manage.py import_schedule FILE`: import an operating schedule, as the page does."""

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from patients import programme
from patients.clock import now
from patients.import_schedule import Preview, apply, preview, rejected_csv
from patients.programme import NotFounded
from patients.rules.schedule_changes import Proposal, Verdict
from patients.rules.schedule_file import MAX_BYTES
from patients.rules.schedule_reasons import NotASchedule, Refusal
from patients.schedule_words import (
    about_file,
    change_words,
    date_order_words,
    notice_words,
    problem_words,
    refusal_words,
)

MORE = {
    Refusal.COLUMNS_MISSING: (
        " Or give the file once on the import's page and say there which column is which: it is "
        "remembered for files like this one."
    ),
    Refusal.MESSAGE: " Messages are taken in by `manage.py import_messages`.",
}
NO_CHANGE = "Nothing was written: the record says all of this already."


def read_within_limit(path: Path) -> bytes:
    """Read a file, but never more of it than could be a schedule."""
    with path.open("rb") as file:
        return file.read(MAX_BYTES + 1)


class Command(BaseCommand):
    """Exit code 0: every row was taken. 1: rows were rejected, or the file could not be read.

    Rows of procedures that somebody said are not ours are counted as rejected, and are no failure.
    """

    help = "Imports an operating schedule from a CSV file. --dry-run shows what it would change."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The file, and how to read it."""
        parser.add_argument("file", type=Path, metavar="FILE")
        parser.add_argument("--dry-run", action="store_true", help="show it, write nothing")
        order = parser.add_mutually_exclusive_group()
        order.add_argument(
            "--day-first",
            dest="day_first",
            action="store_const",
            const=True,
            help="03/04/2027 is 3 April",
        )
        order.add_argument(
            "--month-first",
            dest="day_first",
            action="store_const",
            const=False,
            help="03/04/2027 is March 4",
        )
        parser.add_argument(
            "--rejected", type=Path, metavar="OUT.csv", help="write the rejected rows to this file"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Shows and, unless it is a dry run, imports."""
        path: Path = options["file"]
        try:
            found = self.run(read_within_limit(path), path.name, options)
        except OSError as error:
            raise CommandError(f"{path} cannot be read: {error.strerror}.") from error
        except NotASchedule as refused:
            words = " ".join(refusal_words(refused)) + MORE.get(refused.refusal, "")
            raise CommandError(words) from refused
        except NotFounded as error:
            raise CommandError("There is no programme yet: run `manage.py serve` once.") from error
        self.show(found, dry_run=options["dry_run"])
        rejected = found.of(Verdict.REJECTED)
        if rejected and options["rejected"]:
            self.write_rejected(found, options["rejected"])
        if any(not proposal.not_ours for proposal in rejected):
            sys.exit(1)

    def run(self, data: bytes, name: str, options: dict[str, Any]) -> Preview:
        """Previews or imports."""
        if options["dry_run"]:
            return preview(data, day_first=options["day_first"], at=now())
        return apply(data, day_first=options["day_first"], at=now(), name=name)

    def show(self, found: Preview, *, dry_run: bool) -> None:
        """Prints the counts first, then what is rejected, then what changes."""
        counts = "  ".join(f"{verdict} {count}" for verdict, count in found.counts.items())
        self.stdout.write(f"Rows in file {len(found.proposals)}:  {counts}")
        for sentence in about_file(found.table, found.encoding):
            self.stdout.write(sentence)
        if found.reading:
            said = found.reading
            day = programme.local_day(said.recorded_at)
            self.stdout.write(f"Read with the columns that {said.by} chose on {day}.")
        if found.needs_date_order:
            self.stdout.write(date_order_words(found.date_orders))
            self.stdout.write("Say --day-first or --month-first.")
        for proposal in found.of(Verdict.REJECTED):
            self.show_rejected(proposal, found)
        for proposal in found.of(Verdict.CREATED, Verdict.UPDATED, Verdict.UNCHANGED):
            self.show_change(proposal, found)
        done = (
            f"Imported: {found.changing} rows changed something." if found.changing else NO_CHANGE
        )
        self.stdout.write("Nothing was written: this is a dry run." if dry_run else done)

    def show_rejected(self, proposal: Proposal, found: Preview) -> None:
        """Prints why a row is rejected."""
        for problem in proposal.problems:
            column = f", {problem.column}" if problem.column else ""
            words = " ".join(problem_words(problem, found.procedures))
            self.stdout.write(f"  line {proposal.line}{column}: rejected. {words}")

    def show_change(self, proposal: Proposal, found: Preview) -> None:
        """Prints what a row changes; nothing for an unchanged row without notices."""
        said = change_words(proposal, found.procedures)
        notices = [notice_words(notice) for notice in proposal.notices]
        if proposal.verdict == Verdict.UNCHANGED and not notices:
            return
        mrn = proposal.row.mrn if proposal.row else ""
        told = " ".join([*(["; ".join(said) + "."] if said else []), *notices])
        self.stdout.write(f"  line {proposal.line}, MRN {mrn}: {proposal.verdict}. {told}".rstrip())

    def write_rejected(self, found: Preview, path: Path) -> None:
        """Writes the rejected rows where they were asked for."""
        try:
            path.write_bytes(rejected_csv(found))
        except OSError as error:
            raise CommandError(f"{path} cannot be written: {error.strerror}.") from error
        self.stdout.write(f"The rejected rows are in {path}. Correct them and import that file.")
