"""Take on, disable and change members of staff. Nobody is ever deleted: records point at them."""

from django.db import transaction

from clinic import feed_address
from clinic.models import Role, StaffUser


class LastAdministrator(Exception):
    """Without an administrator nobody could let anybody in again."""


def take_on(*, name: str, email: str, role: str, password: str) -> StaffUser:
    """Give somebody an account. Raises IntegrityError when the address is taken."""
    with transaction.atomic():
        return StaffUser.objects.create_user(email, name.strip(), role, password)


def set_active(someone: StaffUser, *, active: bool) -> None:
    """Disable an account, from its next request on, or open it again.

    Raises LastAdministrator when nobody else could administer.
    """
    with transaction.atomic():
        locked = StaffUser.objects.select_for_update().get(pk=someone.pk)
        if not active:
            _refuse_last(locked)
        locked.is_active = active
        locked.save(update_fields=["is_active"])
        if not active:
            feed_address.revoke(locked)


def set_role(someone: StaffUser, role: str) -> None:
    """Give somebody another role. Raises LastAdministrator when nobody else could administer."""
    with transaction.atomic():
        locked = StaffUser.objects.select_for_update().get(pk=someone.pk)
        if Role(role) != Role.ADMINISTRATOR:
            _refuse_last(locked)
        locked.role = Role(role)
        locked.save(update_fields=["role"])
        if locked.role not in feed_address.MAY_HAVE:
            feed_address.revoke(locked)


def set_password(someone: StaffUser, password: str) -> None:
    """Give somebody a new password; every session of theirs ends."""
    someone.set_password(password)
    someone.save(update_fields=["password"])


def _refuse_last(someone: StaffUser) -> None:
    """Lock all administrators: two who disable each other at once must not both succeed."""
    administrators = StaffUser.objects.select_for_update().filter(
        role=Role.ADMINISTRATOR, is_active=True
    )
    if [one.pk for one in administrators] == [someone.pk]:
        raise LastAdministrator
