"""`manage.py standing MRN [--on DATE]`: how a patient's modules stand, or stood on a day.

The same record as the patient's page (clinic.patient_record), so a past day's answer is the one of
that day (promise C5). A day to come is refused: what will be on record then nobody knows.
"""

import logging
import sys
from argparse import ArgumentParser, ArgumentTypeError
from datetime import date, datetime
from typing import Any

from django.core.management.base import BaseCommand
from django.db import Error

from clinic import words
from clinic.confirmable import NoSuchPatient, with_mrn
from clinic.day_words import day
from clinic.management.asking import note_in_trail
from clinic.patient_record import (
    MergedThen,
    Module,
    NotOnRecordThen,
    PlannedOperation,
    Record,
    read,
)
from education.rules.standing import Standing
from patients import programme
from patients.clock import local_date, now
from patients.models import Booking, Patient
from patients.programme import NotFounded

log = logging.getLogger(__name__)

CANNOT_TELL = 2


class CannotAnswer(Exception):
    """There is no answer; the message says why, in words for whoever asked."""


class Command(BaseCommand):
    """Exit code 0: the answer is printed. 2: it cannot be told."""

    help = (
        "Says how each module of the patient with this MRN stands and why, today or as it stood "
        "at the end of a past day. Exit code 2 when that cannot be told."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Whose, and when."""
        parser.add_argument("mrn", metavar="MRN")
        parser.add_argument("--on", type=a_day, metavar="DATE", help="a past day, like 2027-02-03")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print the standings, or why they cannot be told."""
        try:
            record = self.read(options["mrn"], options["on"], at=now())
        except CannotAnswer as why:
            self.stdout.write(f"Cannot tell: {why}")
            sys.exit(CANNOT_TELL)
        except Exception as error:
            if not isinstance(error, (Error, NotFounded)):
                log.exception("standing failed")
            self.stdout.write("Cannot tell: a fact could not be read.")
            sys.exit(CANNOT_TELL)
        self.show(record)

    def read(self, mrn: str, on: date | None, *, at: datetime) -> Record:
        """Return the record of whoever it was about on that day. Raises CannotAnswer."""
        today = local_date(at, programme.current().zone)
        if on and on > today:
            raise CannotAnswer(f"{day(on)} is still to come. Today is {day(today)}.")
        try:
            patient = with_mrn(mrn).record
        except NoSuchPatient:
            note_in_trail("standing", at=at, found=False)
            raise CannotAnswer("no patient on the register has this MRN.") from None
        asked = f" on {day(on)}" if on else ""
        try:
            return self.read_of(patient, on, at=at)
        except MergedThen as merged:
            speaks = merged.speaker
            self.stdout.write(f"MRN {patient.mrn} was merged into MRN {speaks.mrn}{asked}.")
            return self.read_of(speaks, on, at=at)
        except NotOnRecordThen:
            raise CannotAnswer(f"the patient was not on the register{asked}.") from None

    def read_of(self, patient: Patient, on: date | None, *, at: datetime) -> Record:
        """Return the record of a patient. Written into the trail first, whatever it says."""
        note_in_trail("standing", at=at, patients=[patient])
        return read(patient, on=on, at=at)

    def show(self, record: Record) -> None:
        """Print whose it is, of which day, and each operation with its modules."""
        facts = record.facts
        named = f"{facts.given_names} {facts.family_names}".strip()
        when = f"As it stood at the end of {day(record.on)}" if record.past else "Today"
        self.stdout.write(f"MRN {facts.mrn}, {named}, born {day(facts.birth_date)}")
        self.stdout.write(f"{when}{'' if record.past else ', ' + day(record.on)}:")
        if not record.operations:
            self.stdout.write("  No operation is on the schedule.")
        for operation in record.operations:
            self.show_operation(operation)

    def show_operation(self, one: PlannedOperation) -> None:
        """Print an operation as it was planned on the day, and its modules."""
        planned = one.planned
        or_date = f"OR date {day(planned.or_date)}" if planned.or_date else "no OR date"
        booking = words.BOOKING[Booking(planned.booking)]
        self.stdout.write(f"\n  {planned.procedure.name}, {or_date}, {booking}")
        if not one.modules:
            self.stdout.write("    No module is required for this operation.")
        for module in one.modules:
            self.show_module(module)

    def show_module(self, module: Module) -> None:
        """Print one module's standing, with its dates and every reason."""
        facts = module.told.facts
        standing = words.STANDING[Standing(module.told.answer.standing)]
        window = ""
        if facts.opens_on and facts.clear_by:
            window = f" (opens {day(facts.opens_on)}, clear by {day(facts.clear_by)})"
        self.stdout.write(f"    {module.title}: {standing}{window}")
        self.stdout.write(f"      {'; '.join(module.why)}")


def a_day(text: str) -> date:
    """Return a day that is written like 2027-02-03."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(f"write the day like 2027-02-03, not {text!r}") from None
