"""The private address of a member's calendar feed: made, made anew, revoked, and whose it is."""

import base64
import hashlib
import hmac
import uuid
from datetime import datetime

from django.conf import settings
from django.db import transaction

from clinic.models import CalendarFeed, Role, StaffUser

# They decide about OR dates.
MAY_HAVE = (Role.COORDINATOR, Role.CLINICIAN)


def make(member: StaffUser, *, key: uuid.UUID, at: datetime) -> str:
    """Make a token, the earlier one dies, and return it: its SHA-256 alone is kept.

    256 bits out of the form's own key and the site's secret: a form that was sent twice makes one
    token and shows it twice, and nothing is stored in between.
    """
    secret = hmac.new(
        settings.SECRET_KEY.encode(), f"calendar-feed|{member.pk}|{key}".encode(), hashlib.sha256
    )
    token = base64.urlsafe_b64encode(secret.digest()).decode().rstrip("=")
    with transaction.atomic():
        StaffUser.objects.select_for_update().get(pk=member.pk)
        CalendarFeed.objects.update_or_create(
            member=member, defaults={"digest": _digest(token), "recorded_at": at}
        )
    return token


def revoke(member: StaffUser) -> None:
    """The address is dead from the next request on."""
    CalendarFeed.objects.filter(member=member).delete()


def whose(token: str) -> StaffUser | None:
    """Return whose feed a token opens; nobody's, if the account or the role is gone."""
    row = CalendarFeed.objects.filter(digest=_digest(token)).select_related("member").first()
    if row is None or not row.member.is_active or row.member.role not in MAY_HAVE:
        return None
    return row.member


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
