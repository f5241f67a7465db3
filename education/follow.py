"""What in education follows from a change of the schedule or the register, in its transaction."""

from datetime import datetime
from typing import Any

from django.db.models import Model

from education.assign import follow
from education.carry import carry, take_back
from education.identify import identify_again
from education.invite import end
from education.models import EndedBecause, Invitation
from education.part import undo_what_is_in_doubt
from patients.merge import merge_undone, patients_merged
from patients.models import Merge, MergeUndone, Operation, Patient
from patients.register import patient_changed
from patients.schedule import operation_changed


def connect() -> None:
    """Listen to the schedule, the register and its merges; called once when the app is ready."""
    operation_changed.connect(follow_operation, dispatch_uid="assignments-follow")
    patient_changed.connect(ask_again_whose, dispatch_uid="ask-again-whose")
    patient_changed.connect(end_links_elsewhere, dispatch_uid="end-links-elsewhere")
    patients_merged.connect(follow_merge, dispatch_uid="education-follows-a-merge")
    merge_undone.connect(follow_parting, dispatch_uid="education-follows-a-parting")


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


def follow_merge(
    sender: type[Model], kept: Patient, merge: Merge, at: datetime, by_id: int, **kwargs: Any
) -> None:
    """Two records are one patient: clearances are carried, links elsewhere end, quizzes are asked
    about again.
    """
    carry(merge, at=at, by_id=by_id)
    end_links_elsewhere(Patient, kept, at=at)
    identify_again(kept, at=at)


def follow_parting(
    sender: type[Model],
    kept: Patient,
    merged: Patient,
    merge: Merge,
    at: datetime,
    by_id: int,
    **kwargs: Any,
) -> None:
    """They are two patients again: what was carried is taken back, and what was decided about the
    one patient is looked at, before anything is asked anew.
    """
    reason = MergeUndone.objects.get(merge=merge).reason
    undo_what_is_in_doubt(merge, reason=reason, at=at, by_id=by_id)
    take_back(merge, reason=reason, at=at, by_id=by_id)
    for patient in (kept, merged):
        end_links_elsewhere(Patient, patient, at=at)
        identify_again(patient, at=at)
