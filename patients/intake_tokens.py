"""Leave for other systems to send schedules: a token each, shown once, revoked for good."""

import uuid
from datetime import datetime, timedelta

from django.db.models import Q

from patients.form_token import digest_of, token_of
from patients.models import IntakeToken

# Between two bundles of one system. Whoever has more to send puts more into a bundle.
APART = timedelta(milliseconds=200)


class TooSoon(Exception):
    """The last bundle of this system came an instant ago."""


def make(name: str, *, key: uuid.UUID, at: datetime, by_id: int) -> str:
    """Make a token and return it: its SHA-256 alone is kept."""
    token = token_of(key, purpose="intake")
    IntakeToken.objects.get_or_create(
        digest=digest_of(token), defaults={"name": name, "recorded_at": at, "by_id": by_id}
    )
    return token


def revoke(token: IntakeToken, *, at: datetime, by_id: int) -> bool:
    """The token is dead from the next request on. False if it was before."""
    alive = IntakeToken.objects.filter(pk=token.pk, revoked_at__isnull=True)
    return bool(alive.update(revoked_at=at, revoked_by_id=by_id))


def use(written: str, *, at: datetime) -> IntakeToken | None:
    """Return whose token this is and note its use; None for none of ours.

    Raises TooSoon; one query finds that out, however many processes answer.
    """
    alive = IntakeToken.objects.filter(digest=digest_of(written), revoked_at__isnull=True)
    token = alive.first()
    if token is None:
        return None
    rested = Q(last_used_at__isnull=True) | Q(last_used_at__lte=at - APART)
    if not alive.filter(rested).update(last_used_at=at):
        raise TooSoon
    return token
