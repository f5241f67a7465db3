"""What became of an email, by what a mail system tells of it, and is its address any good?

Status codes are those of RFC 3463 (class, subject, detail): class 2 success, 4 a failure that may
pass, 5 one that will not. Actions are those of RFC 3464, section 2.3.3.
"""

import re
from enum import StrEnum


class Told(StrEnum):
    """What is told of an email that went out."""

    DELIVERED = "delivered"
    DELAYED = "delayed"  # the mail system goes on trying
    GAVE_UP = "gave_up"  # it stopped trying, for a reason that may pass
    BOUNCED = "bounced"  # refused for good
    REJECTED = "rejected"  # whoever sends for us did not even try
    COMPLAINED = "complained"  # the reader called it unwanted
    UNSUBSCRIBED = "unsubscribed"


FAILED = (Told.GAVE_UP, Told.BOUNCED, Told.REJECTED)


class Why(StrEnum):
    """Why nothing more goes to an address."""

    NO_MAILBOX = "no_mailbox"
    NO_DOMAIN = "no_domain"
    CLOSED = "closed"
    FULL = "full"
    REFUSED = "refused"
    COMPLAINED = "complained"
    UNSUBSCRIBED = "unsubscribed"


# Here somebody asked for less; the others say that nothing arrives.
ASKED_FOR_LESS = (Why.COMPLAINED, Why.UNSUBSCRIBED)

_CLASSES = {"2": 2, "4": 4, "5": 5}
_STATUS = re.compile(r"(?<![\d.])([245])\.(\d{1,3})\.(\d{1,3})(?!\.?\d)")
_REPLY = re.compile(r"(?<![\d.\-])([45])[0-5]\d(?=[ \-][^\d])")
_BY_DETAIL = {
    "1.1": Why.NO_MAILBOX,
    "1.2": Why.NO_DOMAIN,
    "1.3": Why.NO_MAILBOX,
    "1.6": Why.CLOSED,
    "1.10": Why.NO_DOMAIN,  # RFC 7505: the domain takes no mail
    "2.1": Why.CLOSED,
    "2.2": Why.FULL,
    "4.4": Why.NO_DOMAIN,
}


def kind_of(action: str, status: str) -> Told | None:
    """Return what an action with a status says; None for an action that RFC 3464 does not have."""
    match action.strip().lower():
        case "failed":
            return Told.GAVE_UP if class_of(status) == 4 else Told.BOUNCED
        case "delayed":
            return Told.DELAYED
        case "delivered" | "relayed" | "expanded":
            return Told.DELIVERED
    return None


def class_of(status: str) -> int | None:
    """Return the class of a status: 2, 4 or 5; None without one."""
    return _CLASSES.get(status[:1])


def status_in(text: str) -> str:
    """Return the status that a text names, "5.1.1", or "5.0.0" for a reply code 5yz alone.

    "" if it names none. Telephone numbers and addresses of hosts are no status.
    """
    found = _STATUS.search(text)
    if found:
        return found[0]
    reply = _REPLY.search(text)
    return f"{reply[1]}.0.0" if reply else ""


def more_exact(status: str, said: str) -> str:
    """Return the status, or the one in what the server said where that is of its class and more
    exact: "5.0.0" beside "550 5.1.1 no such user" is "5.1.1".
    """
    bare = (match := _STATUS.search(status)) is None or match[0].endswith(".0.0")
    own = match[0] if match else ""
    other = status_in(said)
    if other and bare and (not own or class_of(other) == class_of(own)):
        return other
    return own


def why_marked(kind: Told, status: str) -> Why | None:
    """Say why nothing more may go to the address; None: it may."""
    match kind:
        case Told.COMPLAINED:
            return Why.COMPLAINED
        case Told.UNSUBSCRIBED:
            return Why.UNSUBSCRIBED
        case Told.BOUNCED | Told.REJECTED:
            return _BY_DETAIL.get(status.partition(".")[2], Why.REFUSED)
    return None
