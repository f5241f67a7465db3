"""`manage.py clearance_record`: write one patient's clearance record to a file, or check one."""

import sys
from argparse import ArgumentParser
from datetime import date, datetime
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from clinic.evidence import read_back
from clinic.evidence.files import TYPES, content
from clinic.evidence.gather import gather
from clinic.evidence.read_back import Line, NotARecord, Verdict
from clinic.evidence.record import ClearanceRecord
from clinic.patient_record import MergedThen, NotOnRecordThen
from clinic.trail import record as write_trail
from patients.clock import now
from patients.models import Patient
from patients.programme import NotFounded

WORDS = {
    Verdict.AGREES: "agrees",
    Verdict.DIFFERS: "DIFFERS",
    Verdict.NOT_STORED: "NOT STORED",
    Verdict.NOT_IN_FILE: "NOT IN FILE",
}


class Command(BaseCommand):
    """Exit code 0: the file is written. 1: there is no such patient or day, or no such place.

    With --check: 0: the file agrees with what is stored. 1: it does not. 2: nobody can tell.
    """

    help = (
        "Writes one patient's clearance record as PDF, CSV or FHIR; or says with --check whether a "
        "FHIR file that left before agrees with what is stored. Both are noted in the trail."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The patient, the form, the file, and a past day."""
        parser.add_argument("mrn", metavar="MRN", nargs="?", help="not with --check")
        parser.add_argument("--format", choices=list(TYPES), default="pdf", dest="form")
        parser.add_argument("--out", type=Path, metavar="FILE")
        parser.add_argument(
            "--check",
            type=Path,
            metavar="FILE",
            help="a FHIR file of this installation: does it agree with what is stored?",
        )
        parser.add_argument(
            "--on", type=date.fromisoformat, metavar="YYYY-MM-DD", help="as it stood on a past day"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Gathers, notes it in the trail, writes; or compares."""
        at = now()
        if options["check"]:
            self.check_file(options["check"], on=options["on"], at=at)
            return
        if not options["mrn"] or not options["out"]:
            raise CommandError("Give the MRN and --out FILE, or --check FILE.")
        found = self.gathered(options["mrn"], on=options["on"], at=at, form=options["form"])
        path: Path = options["out"]
        try:
            path.write_bytes(content(found, options["form"]))
        except OSError as error:
            raise CommandError(f"{path} cannot be written: {error.strerror}.") from error
        self.stdout.write(f"The clearance record of MRN {found.person.mrn} is in {path}.")

    def gathered(
        self, mrn: str, *, on: date | None, at: datetime, form: str, code: int = 1
    ) -> ClearanceRecord:
        """Returns the record of who has this MRN, and notes it in the trail."""
        patient = Patient.objects.filter(mrn__iexact=mrn.strip()).first()
        if patient is None:
            raise CommandError("Nobody on the register has this MRN.", returncode=code)
        try:
            found = gather(patient, on=on, at=at, by="the command line")
        except NotOnRecordThen as error:
            raise CommandError("Not on the register on that day.", returncode=code) from error
        except MergedThen as merged:
            raise CommandError(
                f"MRN {patient.mrn} is merged: ask for MRN {merged.speaker.mrn}.", returncode=code
            ) from merged
        except NotFounded as error:
            raise CommandError(
                "There is no programme yet: run `manage.py serve` once.", returncode=code
            ) from error
        write_trail(
            act="clearance_record",
            at=at,
            by_id=None,
            patient_id=patient.pk,
            detail={"form": form, "on": found.on.isoformat()},
        )
        return found

    def check_file(self, path: Path, *, on: date | None, at: datetime) -> None:
        """Compares a file with what is stored, prints each line, and exits."""
        try:
            written = read_back.read(path.read_bytes())
            found = self.gathered(written.mrn, on=on, at=at, form="check", code=2)
            lines = read_back.compare(written, read_back.read(content(found, "fhir")))
        except OSError as error:
            told = f"{path} cannot be read: {error.strerror}."
            raise CommandError(told, returncode=2) from error
        except NotARecord as error:
            raise CommandError(f"Cannot tell. {error}", returncode=2) from error
        for line in lines:
            self.show(line)
        wrong = sum(line.verdict != Verdict.AGREES for line in lines)
        day = found.on.isoformat()
        self.stdout.write(
            f"{len(lines) - wrong} of {len(lines)} lines agree with what is stored, "
            f"asked about {day}; the file was made {written.made_at or 'nobody knows when'}."
        )
        if wrong:
            self.stdout.write("With --on the day that it was made, it is held against that day.")
            sys.exit(1)

    def show(self, line: Line) -> None:
        """Prints one line, and what differs in it."""
        self.stdout.write(f"{WORDS[line.verdict]:<14} {line.kind}  {line.about}".rstrip())
        for one in line.differences:
            in_file, stored = one.in_file or "nothing", one.stored or "nothing"
            self.stdout.write(f"{'':<14}   {one.path}: the file {in_file}, stored {stored}")
