"""May the OR dates of one patient be confirmed?  The answer by MRN, for a command line.

It is the coordinator's answer (clinic.confirm), asked about every open operation of the patient.
"""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import CharField, QuerySet

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


@dataclass(frozen=True)
class Asked:
    """The record with an MRN, who speaks for it, and the operations that are open, soonest first.

    Those are among them whose date has passed unsettled.
    """

    record: Patient
    patient: Patient
    still_open: list[Operation]


def with_mrn(mrn: str) -> Asked:
    """Return who is asked about by an MRN. Raises NoSuchPatient."""
    mrn = mrn.replace("\x00", "")
    still_open = _open_of_mrn(mrn=mrn)
    if still_open:  # then the record was not merged: an operation goes with its patient
        patient = still_open[0].patient
        return Asked(patient, patient, still_open)
    record = _record.first(mrn=mrn)
    if record is None:
        raise NoSuchPatient
    if record.merged_into is None:
        return Asked(record, record, [])
    return Asked(record, record.merged_into, _open_of_mrn(mrn=record.merged_into.mrn))


def confirmable(asked: Asked, *, at: datetime) -> Confirmable:
    """Answer for every open operation."""
    return Confirmable(asked.record, asked.patient, answers(asked.still_open, at=at))


@prepared
def _record() -> QuerySet[Patient]:
    return Patient.objects.with_mrn(Given("mrn", CharField())).select_related("merged_into")


@prepared
def _open_of_mrn() -> QuerySet[Operation]:
    theirs = Patient.objects.on_the_register().with_mrn(Given("mrn", CharField()))
    found = Operation.objects.still_open().filter(patient__in=theirs)
    return found.select_related("patient", "procedure").order_by("or_date", "id")
