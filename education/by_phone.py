"""A patient said that they want no more emails: from now on they are called.

Said to a member of staff it holds as what a mail service reports does: nothing that nobody asked
for goes to the address, and the patient is on the list of those to be called. "Try this address
again" takes it back.
"""

from datetime import datetime

from education.deliveries import Report, hear
from education.models import Message
from education.rules.delivery import Told
from patients.models import Patient


def call_instead(patient: Patient, *, told: str, at: datetime) -> bool:
    """Let nothing more go by itself to the patient's address. False: no email went there yet.

    `told`: the member of staff to whom they said it.
    """
    to_them = Message.objects.filter(patient=patient, address__iexact=patient.email)
    latest = to_them.order_by("-id").first() if patient.email else None
    if latest is None:
        return False
    report = Report(
        Told.UNSUBSCRIBED,
        ("said to staff", str(latest.pk), at.isoformat()),
        f"said to {told}",
        happened_at=at,
        certain=False,  # it says nothing about that email itself
    )
    return hear(report, latest, at=at)
