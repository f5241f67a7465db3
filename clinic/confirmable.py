"""May the OR dates of one patient be confirmed?  The answer by MRN, for a command line.

It is the coordinator's answer (clinic.confirm), asked about every open operation of the patient.
"""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import BigIntegerField, CharField, QuerySet

from clinic.confirm import OperationAnswer, answers
from education.rules.confirm import Word
from patients.models import Operation, Patient
from patients.prepared import Given, prepared

# The worst first: what a caller who hears one word only has to be told.
WORST_FIRST = (Word.CANNOT_TELL, Word.HOLD, Word.CONFIRM)


class NoSuchPatient(Exception):
    """No record has this MRN."""


@dataclass(frozen=True)
class Confirmable:
    """The answers for the patient who speaks for the record that has the MRN, soonest first."""

    record: Patient
    patient: Patient
    given: list[OperationAnswer]

    @property
    def word(self) -> Word:
        """The worst of the answers; without an open operation nobody can tell."""
        words = {one.verdict.word for one in self.given}
        return next((word for word in WORST_FIRST if word in words), Word.CANNOT_TELL)


def with_mrn(mrn: str) -> tuple[Patient, Patient]:
    """Return the record that has an MRN, and who speaks for it. Raises NoSuchPatient."""
    record = _record.first(mrn=mrn.replace("\x00", ""))
    if record is None:
        raise NoSuchPatient
    return record, record.merged_into or record


def confirmable(record: Patient, patient: Patient, *, at: datetime) -> Confirmable:
    """Answer for every open operation, those included whose date has passed unsettled."""
    return Confirmable(record, patient, answers(_still_open(patient=patient.pk), at=at))


@prepared
def _record() -> QuerySet[Patient]:
    return Patient.objects.with_mrn(Given("mrn", CharField())).select_related("merged_into")


@prepared
def _still_open() -> QuerySet[Operation]:
    theirs = Operation.objects.still_open().filter(patient=Given("patient", BigIntegerField()))
    return theirs.select_related("patient", "procedure").order_by("or_date", "id")
