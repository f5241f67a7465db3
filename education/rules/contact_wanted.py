"""Does a patient wait for a call today, although nothing is due yet?

A day to go on that was agreed, or set, has come, whether or not a module is open by then; or there
is no email address, so that the phone is the way from the day the module opens. The same in SQL:
`AssignmentQuerySet.wanting_a_contact`.
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
    contacts: Contacts,
    *,
    opens_on: date | None,
    has_email: bool,
    on: date,
    opens_first: bool = True,
) -> Wanted | None:
    """Return why the patient of an assignment that is not cleared is to be called on the day `on`.

    None: nobody has to call. A next contact date that lies ahead is waited for; one that has come
    before the window opens (the OR date moved on) is a call all the same. `opens_first`: of the
    patient's assignments that are not cleared this one opens first; one call is wanted of them, so
    what is not open yet says so only where nothing is open.
    """
    is_open = opens_on is not None and opens_on <= on
    if contacts.next_on is not None:
        has_come = contacts.next_on <= on
        return Wanted.DATE_REACHED if has_come and (is_open or opens_first) else None
    if opens_on is None or not is_open:
        return None
    spoken = contacts.reached_on is not None and contacts.reached_on >= opens_on
    return None if has_email or spoken else Wanted.BY_PHONE
