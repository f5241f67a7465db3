"""A patient's facts as they were known before an instant."""

from copy import copy
from datetime import datetime

from patients.models import Patient, PatientChange

FACTS = ("mrn", "given_names", "family_names", "birth_date", "email", "phone", "language")


def as_known(record: Patient, *, known_at: datetime | None) -> Patient:
    """Return the record as it was then, never to be saved; as it is, where no instant is given."""
    if known_at is None:
        return record
    rows = PatientChange.objects.filter(patient=record, recorded_at__lt=known_at)
    facts = rows.order_by("-recorded_at", "-id").first()
    then = copy(record)
    for name in FACTS if facts else ():
        setattr(then, name, getattr(facts, name))
    return then
