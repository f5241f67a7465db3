"""`manage.py clearance_record MRN`: write one patient's clearance record to a file."""

from argparse import ArgumentParser
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from clinic.evidence.files import TYPES, content
from clinic.evidence.gather import gather
from clinic.patient_record import MergedThen, NotOnRecordThen
from clinic.trail import record as write_trail
from patients.clock import now
from patients.models import Patient
from patients.programme import NotFounded


class Command(BaseCommand):
    """Exit code 0: the file is written. 1: there is no such patient or day, or no such place."""

    help = "Writes one patient's clearance record as PDF, CSV or FHIR; it is noted in the trail."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The patient, the form, the file, and a past day."""
        parser.add_argument("mrn", metavar="MRN")
        parser.add_argument("--format", choices=list(TYPES), default="pdf", dest="form")
        parser.add_argument("--out", type=Path, required=True, metavar="FILE")
        parser.add_argument(
            "--on", type=date.fromisoformat, metavar="YYYY-MM-DD", help="as it stood on a past day"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Gathers, notes it in the trail, writes."""
        at = now()
        patient = Patient.objects.filter(mrn__iexact=options["mrn"].strip()).first()
        if patient is None:
            raise CommandError("Nobody on the register has this MRN.")
        try:
            found = gather(patient, on=options["on"], at=at, by="the command line")
        except NotOnRecordThen as error:
            raise CommandError("Not on the register on that day.") from error
        except MergedThen as merged:
            raise CommandError(
                f"MRN {patient.mrn} is merged: ask for MRN {merged.speaker.mrn}."
            ) from merged
        except NotFounded as error:
            raise CommandError("There is no programme yet: run `manage.py serve` once.") from error
        write_trail(
            act="clearance_record",
            at=at,
            by_id=None,
            patient_id=patient.pk,
            detail={"form": options["form"], "on": found.on.isoformat()},
        )
        path: Path = options["out"]
        try:
            path.write_bytes(content(found, options["form"]))
        except OSError as error:
            raise CommandError(f"{path} cannot be written: {error.strerror}.") from error
        self.stdout.write(f"The clearance record of MRN {found.person.mrn} is in {path}.")
