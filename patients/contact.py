"""Log one attempt to reach a patient."""

from datetime import date, datetime

from patients.models import Contact, Means, Outcome, Patient
from patients.speaks_for import speaker


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
    return Contact.objects.create(
        patient=speaker(patient),
        means=means,
        outcome=outcome,
        note=note,
        next_on=next_on,
        recorded_at=at,
        by_id=by_id,
    )
