"""Hold all mail, and release it: while it is held nothing leaves, whatever waits."""

from datetime import datetime

from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet

from education.models import MailHold
from patients.wake import wake


def in_force() -> MailHold | None:
    """Return the hold that is on, or None."""
    return on().select_related("by").first()


def hold(*, reason: str, at: datetime, by_id: int | None) -> bool:
    """Hold all mail from now on. False if it is held already."""
    return _set(held=True, reason=reason, at=at, by_id=by_id)


def release(*, reason: str, at: datetime, by_id: int | None) -> bool:
    """Let what waits go out again. False if nothing was held."""
    with transaction.atomic():
        released = _set(held=False, reason=reason, at=at, by_id=by_id)
        if released:
            wake("education.tasks.sweep_messages")
    return released


def on() -> QuerySet[MailHold]:
    """Return the hold that is on, as rows to count or to ask for: one or none."""
    later = MailHold.objects.filter(id__gt=OuterRef("id"))
    return MailHold.objects.filter(~Exists(later), held=True)


def not_held() -> Q:
    """Return the condition that no hold is on; it is part of each claim of a message."""
    return Q(~Exists(on()))


def _set(*, held: bool, reason: str, at: datetime, by_id: int | None) -> bool:
    with transaction.atomic():
        if (in_force() is not None) is held:
            return False
        MailHold.objects.create(held=held, reason=reason, recorded_at=at, by_id=by_id)
    return True
