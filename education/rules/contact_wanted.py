"""Does a patient wait for a call today, although nothing is due yet?

A day to go on that was agreed, or set, has come; or there is no email address, so that the phone is
the way from the day the module opens. The same in SQL: `AssignmentQuerySet.wanting_a_contact`.
"""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class Wanted(StrEnum):
    DATE_REACHED = "date_reached"  # the next contact date is today or over
    BY_PHONE = "by_phone"  # no email address, and nobody has spoken with the patient yet


@dataclass(frozen=True)
class Contacts:
    """What is on record about reaching a patient; contacts that were corrected do not count.

    `next_on`: the next contact date that the latest of them set. `reached_on`: the last day on
    which somebody spoke with the patient.
    """

    next_on: date | None = None
    reached_on: date | None = None


NO_CONTACTS = Contacts()


def contact_wanted(
    contacts: Contacts, *, opens_on: date | None, has_email: bool, on: date
) -> Wanted | None:
    """Return why the patient of an assignment that is not cleared is to be called on the day `on`.

    None: nobody has to call. Before the window opens nobody has; a next contact date that lies
    ahead is waited for.
    """
    if opens_on is None or on < opens_on:
        return None
    if contacts.next_on is not None:
        return Wanted.DATE_REACHED if contacts.next_on <= on else None
    spoken = contacts.reached_on is not None and contacts.reached_on >= opens_on
    return None if has_email or spoken else Wanted.BY_PHONE
