"""Log one attempt to reach a patient, and correct what was logged wrongly.

Nothing is overwritten: a correction is a later row, with what stands instead if anything does.
"""

from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.dispatch import Signal

from patients.models import Contact, ContactCorrection, Means, Outcome, Patient
from patients.speaks_for import locked_speaker

# Sent inside the transaction, after a contact was logged or corrected: patient, at, by_id, and
# `corrected`, which of the two it was.
contacts_changed = Signal()


class AlreadyCorrected(Exception):
    """Somebody corrected this contact before."""


@dataclass(frozen=True)
class Instead:
    """What an attempt really was; when it was made stays as it was."""

    means: Means
    outcome: Outcome
    note: str = ""
    next_on: date | None = None


def log_contact(
    patient: Patient,
    *,
    means: Means,
    outcome: Outcome,
    at: datetime,
    by_id: int,
    note: str = "",
    next_on: date | None = None,
) -> Contact:
    """Write down a call, letter or conversation, its outcome and when to try next.

    With a record that was merged meanwhile, it is the patient's who speaks for it.
    """
    with transaction.atomic():
        who = locked_speaker(patient)
        contact = Contact.objects.create(
            patient=who,
            means=means,
            outcome=outcome,
            note=note,
            next_on=next_on,
            recorded_at=at,
            by_id=by_id,
        )
        contacts_changed.send(sender=Contact, patient=who, at=at, by_id=by_id, corrected=False)
    return contact


def correct_contact(
    contact: Contact, *, instead: Instead | None, reason: str, at: datetime, by_id: int
) -> ContactCorrection:
    """Say that a contact was logged wrongly: it was another one, or (None) there was none.

    Raises AlreadyCorrected for one that was corrected before; its successor can be corrected.
    """
    with transaction.atomic():
        who = locked_speaker(contact.patient)
        if ContactCorrection.objects.filter(contact=contact).exists():
            raise AlreadyCorrected
        successor = None
        if instead is not None:
            successor = Contact.objects.create(
                patient_id=contact.patient_id,
                means=instead.means,
                outcome=instead.outcome,
                note=instead.note,
                next_on=instead.next_on,
                made_at=contact.at,
                recorded_at=at,
                by_id=by_id,
            )
        correction = ContactCorrection.objects.create(
            contact=contact, instead=successor, reason=reason, recorded_at=at, by_id=by_id
        )
        contacts_changed.send(sender=Contact, patient=who, at=at, by_id=by_id, corrected=True)
    return correction
