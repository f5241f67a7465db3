"""`manage.py confirmable MRN`: may this patient's OR date be confirmed?"""

import logging
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.db import Error

from clinic import answer_words, words
from clinic.confirm import OperationAnswer
from clinic.confirmable import Confirmable, NoSuchPatient, confirmable, with_mrn
from clinic.day_words import day
from clinic.management.asking import note_in_trail
from education.rules.confirm import HoldReason, Word
from education.rules.standing import Standing
from education.titles import titles
from patients import programme
from patients.clock import now
from patients.models import Booking
from patients.programme import NotFounded

log = logging.getLogger(__name__)

EXIT = {Word.CONFIRM: 0, Word.HOLD: 1, Word.CANNOT_TELL: 2}
CANNOT_TELL = "Cannot tell: a fact could not be read. Do not confirm on this."


class Command(BaseCommand):
    """Exit code 0: confirm. 1: hold. 2: cannot tell, also when whatever else goes wrong."""

    help = (
        "Says whether the OR dates of the patient with this MRN may be confirmed, and why or why "
        "not, as the operations page does. Exit code 0 confirm, 1 hold, 2 cannot tell; of several "
        "open operations the worst answer counts."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Whose."""
        parser.add_argument("mrn", metavar="MRN")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print each answer with its reasons, and leave with the code of the worst."""
        try:
            word = self.answer(options["mrn"])
        except Exception as error:  # exit code 1 would say "hold", which nobody has found out
            if not isinstance(error, (Error, NotFounded)):
                log.exception("confirmable failed")
            self.stdout.write(CANNOT_TELL)
            word = Word.CANNOT_TELL
        if EXIT[word]:
            sys.exit(EXIT[word])

    def answer(self, mrn: str) -> Word:
        """Print the answer of one patient, and return it as a word."""
        at = now()
        try:
            asked = with_mrn(mrn)
        except NoSuchPatient:
            note_in_trail("confirmable", at=at, found=False)
            self.stdout.write("Cannot tell: no patient on the register has this MRN.")
            return Word.CANNOT_TELL
        # Written first: what cannot be put on record is not shown.
        note_in_trail("confirmable", at=at, patients=[asked.patient, asked.record])
        found = confirmable(asked, at=at)
        self.show(found)
        self.stdout.write(f"Asked at {at.astimezone(programme.current().zone):%H:%M %Z, %d %b %Y}.")
        return found.word

    def show(self, found: Confirmable) -> None:
        """Print whose answer it is, the one word, and what each operation says."""
        who = found.patient
        if found.record.pk != who.pk:
            self.stdout.write(f"MRN {found.record.mrn} was merged into MRN {who.mrn}.")
        self.stdout.write(f"{answer_words.WORDS[found.word].upper()}")
        self.stdout.write(f"MRN {who.mrn}, {who.full_name}, born {day(who.birth_date)}")
        if not found.given:
            self.stdout.write("No operation of this patient is open, so there is nothing to tell.")
        named = titles(t.assignment.module_id for one in found.given for t in one.told)
        for one in found.given:
            self.show_operation(one, named)

    def show_operation(self, given: OperationAnswer, named: dict[int, str]) -> None:
        """Print one operation's answer, and under it what it rests on."""
        operation = given.operation
        or_date = f"OR date {day(operation.or_date)}" if operation.or_date else "no OR date yet"
        booking = words.BOOKING[Booking(operation.booking)]
        word = answer_words.WORDS[given.verdict.word]
        self.stdout.write(f"\n{word}: {operation.procedure.name}, {or_date}, {booking}")
        for reason in given.verdict.reasons:
            if reason != HoldReason.NOT_CLEARED:
                self.stdout.write(f"  {answer_words.HOLD_REASONS[reason]}.")
        for told in given.told:
            if told.assignment.due_before_operation:
                title = named.get(told.assignment.module_id, told.assignment.module.code)
                standing = words.STANDING[Standing(told.answer.standing)]
                why = answer_words.reasons(told.answer, told)
                self.stdout.write(f"  {title}: {standing}; {why}")
