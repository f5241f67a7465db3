"""What in education follows from a change of the schedule or the register, in its transaction."""

from datetime import datetime
from typing import Any

from django.db.models import Model

from education.assign import follow
from education.identify import identify_again
from education.invite import end
from education.models import EndedBecause, Invitation
from patients.models import Operation, Patient
from patients.register import patient_changed
from patients.schedule import operation_changed


def connect() -> None:
    """Listen to the schedule and the register; called once when the app is ready."""
    operation_changed.connect(follow_operation, dispatch_uid="assignments-follow")
    patient_changed.connect(ask_again_whose, dispatch_uid="ask-again-whose")
    patient_changed.connect(end_links_elsewhere, dispatch_uid="end-links-elsewhere")


def follow_operation(
    sender: type[Model], operation: Operation, at: datetime, **kwargs: Any
) -> None:
    """A date moved, a booking changed: the assignments follow."""
    follow(operation, at=at)


def ask_again_whose(sender: type[Model], patient: Patient, at: datetime, **kwargs: Any) -> None:
    """Somebody new is on the register: a submission that fitted nobody may be theirs."""
    identify_again(patient, at=at)


def end_links_elsewhere(sender: type[Model], patient: Patient, at: datetime, **kwargs: Any) -> None:
    """The address changed: links that went to another one are dead, also if it changes back."""
    elsewhere = Invitation.objects.filter(
        assignment__operation__patient=patient, end__isnull=True
    ).exclude(address__iexact=patient.email)
    for invitation in elsewhere:
        end(invitation, EndedBecause.READDRESSED, at=at)
