"""Addresses at which nothing arrives, or whose owner asked for less: marked, and tried again.

A mark belongs to the address, so it holds for everybody who has it (a family, say), and is gone
with another address. It ends when somebody wants the address tried again.
"""

from collections.abc import Collection
from datetime import datetime

from django.db import transaction

from education.models import AddressMark, AddressMarkEnd, DeliveryEvent, Message
from education.rules.delivery import ASKED_FOR_LESS, Why


def marks_of(addresses: Collection[str]) -> dict[str, AddressMark]:
    """Return by address, in lower case, the mark that is in force; the gravest of several."""
    wanted = {address.lower() for address in addresses if address}
    rows = AddressMark.objects.in_force().filter(address__in=wanted).select_related("event")
    return {one.address: one for one in sorted(rows, key=_gravest_last)}


def mark_of(address: str) -> AddressMark | None:
    """Return the mark of one address that is in force, or None."""
    return marks_of([address]).get(address.lower())


def blocks(mark: AddressMark | None, *, unasked: bool) -> bool:
    """Whether a mark keeps an email from its address; `unasked`: nobody asked for this one."""
    # Whoever unsubscribed gets what somebody sends by hand, or they ask for themselves.
    return mark is not None and (unasked or mark.why != Why.UNSUBSCRIBED)


def is_blocked(address: str, *, unasked: bool) -> bool:
    """Whether an email may not go to an address; `unasked`: nobody asked for this one."""
    return blocks(mark_of(address), unasked=unasked)


def mark_address(
    message: Message, why: Why, *, at: datetime, event: DeliveryEvent | None = None
) -> AddressMark | None:
    """Let nothing more go to the address of an email to a patient; None: it was so already."""
    if message.patient_id is None:
        return None  # a member of staff: whoever sees the mail page puts it right
    in_force = AddressMark.objects.in_force().filter(address=message.address.lower())
    if any((one.why in ASKED_FOR_LESS) == (why in ASKED_FOR_LESS) for one in in_force):
        return None
    return AddressMark.objects.create(
        address=message.address.lower(),
        why=why,
        patient_id=message.patient_id,
        message=message,
        event=event,
        recorded_at=at,
    )


def end_marks(address: str, *, reason: str, at: datetime, by_id: int) -> int:
    """End all marks of an address, because somebody wants it tried again. Returns how many."""
    with transaction.atomic():
        marks = AddressMark.objects.in_force().filter(address=address.lower())
        ends = [
            AddressMarkEnd(mark=mark, reason=reason, recorded_at=at, by_id=by_id)
            for mark in marks.select_for_update(of=("self",))
        ]
        AddressMarkEnd.objects.bulk_create(ends)
    return len(ends)


def _gravest_last(mark: AddressMark) -> tuple[bool, bool, int]:
    return mark.why != Why.UNSUBSCRIBED, mark.why not in ASKED_FOR_LESS, mark.pk
