"""Open an alarm for a confirmed OR date that does not fit any more, and write to who has to know.

Whoever confirmed it is told. Where nobody who still has an account did (the schedule alone
confirmed it, or the account was disabled since), every active coordinator is; without one, every
clinician, because they may confirm too. The email says nothing but that there is something to look
at (promise W10); what it is stands on the operations page.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.core.mail.backends.base import BaseEmailBackend
from django.db.models import Q, QuerySet
from django.urls import reverse

from clinic.models import Alarm, Confirmation, Role, StaffUser
from clinic.unsettled import Change
from education import emails
from education.models import Message
from education.new_message import new_message, wake_sender
from patients.models import Operation
from patients.rules.languages import SOURCE_LANGUAGE

# To whoever confirmed; and to all who coordinate, of what nobody with an account confirmed.
LOOK_AGAIN, LOOK_AGAIN_ALL = "look_again", "look_again_all"
PURPOSES = (LOOK_AGAIN, LOOK_AGAIN_ALL)


@dataclass(frozen=True)
class Lapsed:
    """An operation that is not as it was confirmed any more, and why.

    `confirmation` is None where the schedule alone confirmed it. `done_by` did this and needs no
    email about it.
    """

    operation: Operation
    confirmation: Confirmation | None
    cause: Change
    done_by: int | None = None


def connect() -> None:
    """Bring the email to both; called once when ready."""
    emails.WITHOUT_LINK |= dict.fromkeys(PURPOSES, look_again_email)


def coordinators() -> list[StaffUser]:
    """Return who is told of what nobody with an account confirmed."""
    active = StaffUser.objects.filter(is_active=True).order_by("name", "pk")
    return list(active.filter(role=Role.COORDINATOR)) or list(active.filter(role=Role.CLINICIAN))


def who_is_told(confirmation: Confirmation | None) -> list[StaffUser]:
    """Return who is told that this confirmation does not fit; None: the schedule's."""
    if confirmation and confirmation.by.is_active:
        return [confirmation.by]
    return coordinators()


def who_is_told_words(confirmation: Confirmation | None) -> str:
    """Say who will be told, and why it is not who confirmed."""
    names = " and ".join(one.name for one in who_is_told(confirmation))
    told = f"{names} will be told" if names else "nobody is told: it stands on the operations page"
    if confirmation is None:
        return f"the schedule alone confirmed it, so {told}"
    if confirmation.by.is_active:
        return told
    return f"{confirmation.by.name} confirmed it and has no account any more, so {told}"


def open_among(operation_ids: Iterable[int]) -> QuerySet[Alarm]:
    """Return the alarms of these operations that are not over."""
    ids = list(operation_ids)
    whose = Q(operation__in=ids) | Q(confirmation__operation__in=ids)
    return Alarm.objects.filter(whose, over_at__isnull=True)


def tell(lapsed: Iterable[Lapsed], *, at: datetime) -> None:
    """Open an alarm for each, and write one email to each of those who have to know.

    An alarm of the same cause that is still open is over: that had been settled.
    """
    by_key = {(one.operation.pk, one.confirmation, one.cause): one for one in lapsed}
    about: dict[StaffUser, set[int]] = defaultdict(set)
    confirmed = {one.confirmation.by for one in by_key.values() if one.confirmation}
    everybody = coordinators() if by_key else []
    for one in by_key.values():
        _open(one, at=at)
        by = one.confirmation.by if one.confirmation else None
        for member in [by] if by and by.is_active else everybody:
            if member.pk != one.done_by:
                about[member].add(one.operation.patient_id)
    for member, patients in sorted(about.items(), key=lambda item: item[0].pk):
        purpose = LOOK_AGAIN if member in confirmed else LOOK_AGAIN_ALL
        _write(member, purpose, patients.pop() if len(patients) == 1 else None, at=at)


def _open(one: Lapsed, *, at: datetime) -> None:
    operation = None if one.confirmation else one.operation
    alarms = Alarm.objects.filter(
        confirmation=one.confirmation, operation=operation, cause=one.cause, over_at__isnull=True
    )
    alarms.update(over_at=at)
    Alarm.objects.create(
        confirmation=one.confirmation, operation=operation, cause=one.cause, recorded_at=at
    )


def _write(member: StaffUser, purpose: str, patient_id: int | None, *, at: datetime) -> None:
    message = new_message(purpose, at=at, address=member.email, language=SOURCE_LANGUAGE)
    message.patient_id = patient_id
    message.save()
    wake_sender(message.pk)


def look_again_email(message: Message, *, connection: BaseEmailBackend) -> EmailMultiAlternatives:
    """Return the email that asks to look at the operations page: who confirmed something, or a
    coordinator, at what nobody else is told of.
    """
    about = {
        "link": settings.PUBLIC_URL + reverse("look-again"),
        "confirmed_by_them": message.purpose == LOOK_AGAIN,
    }
    return emails.written(message, LOOK_AGAIN, about, connection=connection)
