"""A way by which a message reaches somebody: one class with one contract.

Which class it is, says the setting MAIL_CHANNEL. `tests/education/test_channel.py` holds the
contract for any of them.
"""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Protocol, cast

from django.conf import settings
from django.utils.module_loading import import_string

from education.models import Message


class Outcome(StrEnum):
    """What became of handing a message over."""

    TAKEN = "taken"
    LATER = "later"  # it was surely not taken, and may be tried again
    REFUSED = "refused"  # for good: trying again changes nothing
    UNKNOWN = "unknown"  # nobody can say whether it was taken: never tried again by itself


@dataclass(frozen=True)
class HandedOver:
    """The outcome; `problem` is for staff and names no patient's fact.

    `bad_address`: nothing sent to this address arrives; `status` says why (RFC 3463), "" if nobody
    does. `reference`: what the other side calls the
    message in its reports, where that is not our Message-ID.
    """

    outcome: Outcome
    problem: str = ""
    bad_address: bool = False
    status: str = ""
    reference: str = ""


class Channel(Protocol):
    """Hands messages over, one after the other, and is closed in the end."""

    def send(self, message: Message, *, at: datetime) -> HandedOver:
        """Hand one message over, once. What it raises is taken for `LATER`."""
        ...

    def close(self) -> None:
        """Let go of what was kept open between two messages; the next `send` opens it anew."""
        ...


def open_channel() -> Channel:
    """Return a new channel of the kind that is set."""
    return cast(Channel, import_string(settings.MAIL_CHANNEL)())
