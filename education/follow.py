"""What in education follows from a change of the schedule or the register, in its transaction."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db.models import Model

from education.assign import follow
from education.carry import carry, take_back
from education.escalate import follow_contacts, follow_standing
from education.identify import identify_again
from education.invite import withdraw_waiting
from education.models import AnswerLink, EndedBecause, Invitation, PlanLink
from education.overtaken import withdraw_at_merge, withdraw_reminders
from education.part import undo_what_is_in_doubt
from education.personal_link import end, gone_elsewhere
from education.plan_moves import tell_of_moves
from education.renew import invite_anew
from patients.batches import batches
from patients.contact import contacts_changed
from patients.merge import merge_undone, patients_merged
from patients.models import Merge, MergeUndone, Operation, Patient
from patients.register import patient_changed
from patients.schedule import operation_changed


def connect() -> None:
    """Listen to the schedule, the register and its merges; called once when the app is ready."""
    operation_changed.connect(follow_operations, dispatch_uid="assignments-follow")
    patient_changed.connect(ask_again_whose, dispatch_uid="ask-again-whose")
    patient_changed.connect(end_links_elsewhere, dispatch_uid="end-links-elsewhere")
    contacts_changed.connect(call_for_help, dispatch_uid="call-for-help")
    patients_merged.connect(follow_merge, dispatch_uid="education-follows-a-merge")
    merge_undone.connect(follow_parting, dispatch_uid="education-follows-a-parting")


def follow_operations(
    sender: type[Model], operations: Sequence[Operation], at: datetime, **kwargs: Any
) -> None:
    """Dates moved, bookings changed: the assignments follow, the emails that wait, and the news to
    whoever has an eating plan.
    """
    follow(operations, at=at)
    withdraw_waiting(operations, at=at)
    for some in batches(operation.pk for operation in operations):
        withdraw_reminders(some, at=at)
    tell_of_moves(operations, at=at)
    for asked in batches(operation.patient_id for operation in operations):
        follow_standing(set(asked), at=at)


def ask_again_whose(
    sender: type[Model],
    patients: Sequence[Patient],
    at: datetime,
    new: bool = False,
    **kwargs: Any,
) -> None:
    """Somebody is new or other on the register: a submission that waits may be theirs, or nobody
    else's any more.
    """
    identify_again(patients, at=at, new=new)


def end_links_elsewhere(
    sender: type[Model], patients: Sequence[Patient], at: datetime, **kwargs: Any
) -> None:
    """The address changed: links that went to another one are dead, also if it changes back.

    A new one goes to the present address, if the programme invites by itself.
    """
    for some in batches(patient.pk for patient in patients):
        ended = gone_elsewhere(Invitation, some)
        plans, answers = gone_elsewhere(PlanLink, some), gone_elsewhere(AnswerLink, some)
        links: list[Invitation | PlanLink | AnswerLink] = [*ended, *plans, *answers]
        for link in links:
            end(link, EndedBecause.READDRESSED, at=at)
        if ended:
            invite_anew(ended, at=at)


def call_for_help(
    sender: type[Model],
    patient: Patient,
    at: datetime,
    by_id: int,
    corrected: bool,
    **kwargs: Any,
) -> None:
    """Somebody tried to reach a patient: the surgeon's office is asked to help, or need not."""
    follow_contacts(patient, at=at, by_id=by_id, corrected=corrected)


def follow_merge(
    sender: type[Model], kept: Patient, merge: Merge, at: datetime, by_id: int, **kwargs: Any
) -> None:
    """Two records are one patient: clearances are carried, links elsewhere end, quizzes are asked
    about again.
    """
    carry(merge, at=at, by_id=by_id)
    withdraw_at_merge(merge.merged, at=at)
    end_links_elsewhere(Patient, [kept], at=at)
    identify_again([kept], at=at)
    follow_standing({kept.pk}, at=at)


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
        end_links_elsewhere(Patient, [patient], at=at)
        identify_again([patient], at=at)
