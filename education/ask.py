"""A patient asks a question from a module's page; it is kept with where it was asked from."""

import uuid
from datetime import datetime, timedelta

from django.db import transaction

from education.models import Edition, Invitation, PatientQuestion
from education.rules.asking import About, AskFault, may_ask, read_text
from patients import programme
from patients.clock import end_of_day, local_date
from patients.models import Patient


def ask(
    invitation: Invitation,
    edition: Edition,
    *,
    about: About,
    part: str,
    language: str,
    typed: str,
    key: uuid.UUID,
    at: datetime,
) -> PatientQuestion | AskFault:
    """Keep a question, or return why not. A form that was sent before is the question it made.

    The edition is the one that the patient saw; `part` the key of its section or question.
    """
    text = read_text(typed)
    if isinstance(text, AskFault):
        return text
    with transaction.atomic():
        patient_id = invitation.assignment.operation.patient_id
        # Two sent at once wait for each other here: for the form's key and for the day's count.
        Patient.objects.select_for_update().get(pk=patient_id)
        before = PatientQuestion.objects.filter(invitation=invitation, key=key).first()
        if before is not None:
            return before
        refused = may_ask(asked_today(patient_id, at=at))
        if refused:
            return refused
        return PatientQuestion.objects.create(
            invitation=invitation,
            edition=edition,
            about=about,
            part=part,
            language=language,
            text=text,
            key=key,
            recorded_at=at,
        )


def asked_today(patient_id: int, *, at: datetime) -> int:
    """Return how many questions a patient has asked on the local day of `at`."""
    zone = programme.current().zone
    yesterday = local_date(at, zone) - timedelta(days=1)
    return (
        PatientQuestion.objects.of([patient_id])
        .filter(recorded_at__gte=end_of_day(yesterday, zone))
        .count()
    )
