"""When is the surgeon's office asked to help reach a patient, and when no longer?

How many messages without an answer it takes, and whether it is asked at all, is the programme's
to say; two is what a programme starts with.
"""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class EscalationEnded(StrEnum):
    """Why the surgeon's office need not help any more."""

    REACHED = "reached"
    CLEARED = "cleared"
    HANDED_IN = "handed_in"  # a quiz of theirs came, passed or not
    NOT_WAITING = "not_waiting"  # no module whose window is open waits for the patient any more
    CORRECTED = "corrected"  # a message that it rested on was none


@dataclass(frozen=True)
class Tried:
    """One attempt to reach the patient."""

    at: datetime
    reached: bool = False
    left_a_message: bool = False


@dataclass(frozen=True)
class Case:
    """What is on record about reaching a patient.

    `tries` in the order in which they were made. `waiting_since`: since when the programme has
    asked for what the patient has to learn and may learn now; None: nothing like that.
    `cleared_at`: the last clearance; `handed_in_at`: when the patient last handed a quiz in that is
    known to be theirs, passed or not. Both are answers too: who tries and fails has the messages,
    and needs a teach-back, not to be found. `escalated_at`: since when the surgeon's office has
    been asked to help; None: it is not.
    """

    tries: tuple[Tried, ...] = ()
    waiting_since: datetime | None = None
    cleared_at: datetime | None = None
    handed_in_at: datetime | None = None
    escalated_at: datetime | None = None


def messages_unanswered(case: Case) -> int:
    """Return how many messages were left since the patient was last heard of.

    What was left before the module was asked for was about something else. A call that nobody
    took, a wrong number and a letter are no messages, and no answers.
    """
    if case.waiting_since is None:
        return 0
    heard_at = (case.waiting_since, case.cleared_at, case.handed_in_at)
    since = max(one for one in heard_at if one is not None)
    count = 0
    for one in case.tries:
        if one.reached:
            count = 0
        elif one.left_a_message and one.at >= since:
            count += 1
    return count


def to_be_escalated(case: Case, *, messages: int, wanted: bool) -> bool:
    """Return whether the surgeon's office is to be asked now, and is not yet."""
    return wanted and case.escalated_at is None and messages_unanswered(case) >= messages


def ended(case: Case, *, messages: int, corrected: bool = False) -> EscalationEnded | None:
    """Return why the help that was asked for is not needed any more; None: it is.

    `messages`: how many it had taken. `corrected`: a contact was corrected just now.
    """
    since = case.escalated_at
    if since is None:
        return None
    if any(one.reached and one.at >= since for one in case.tries):
        return EscalationEnded.REACHED
    if case.cleared_at is not None and case.cleared_at >= since:
        return EscalationEnded.CLEARED
    if case.handed_in_at is not None and case.handed_in_at >= since:
        return EscalationEnded.HANDED_IN
    if case.waiting_since is None:
        return EscalationEnded.NOT_WAITING
    if corrected and messages_unanswered(case) < messages:
        return EscalationEnded.CORRECTED
    return None
