"""Log one attempt to reach a patient."""

from datetime import date, datetime

from patients.models import Contact, Means, Outcome, Patient


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
    """Write down a call, letter or conversation, its outcome and when to try next."""
    return Contact.objects.create(
        patient=patient,
        means=means,
        outcome=outcome,
        note=note,
        next_on=next_on,
        recorded_at=at,
        by_id=by_id,
    )
