"""The private address of a member's calendar feed: made, made anew, revoked, and whose it is."""

import uuid
from datetime import datetime

from django.db import transaction

from clinic.models import CalendarFeed, Role, StaffUser
from patients.form_token import digest_of, token_of

# They decide about OR dates.
MAY_HAVE = (Role.COORDINATOR, Role.CLINICIAN)


def make(member: StaffUser, *, key: uuid.UUID, at: datetime) -> str:
    """Make a token, the earlier one dies, and return it: its SHA-256 alone is kept."""
    token = token_of(key, purpose=f"calendar-feed|{member.pk}")
    with transaction.atomic():
        StaffUser.objects.select_for_update().get(pk=member.pk)
        CalendarFeed.objects.update_or_create(
            member=member, defaults={"digest": digest_of(token), "recorded_at": at}
        )
    return token


def revoke(member: StaffUser) -> None:
    """The address is dead from the next request on."""
    CalendarFeed.objects.filter(member=member).delete()


def whose(token: str) -> StaffUser | None:
    """Return whose feed a token opens; nobody's, if the account or the role is gone."""
    row = CalendarFeed.objects.filter(digest=digest_of(token)).select_related("member").first()
    if row is None or not row.member.is_active or row.member.role not in MAY_HAVE:
        return None
    return row.member
