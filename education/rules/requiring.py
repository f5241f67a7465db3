"""In which ways does a changed requirement touch an assignment?"""

from enum import StrEnum

from education.rules.standing import Answer, Reason, Standing


class Effect(StrEnum):
    """The gravest first: in this order they are read."""

    TOO_OLD = "too_old"
    LATE = "late"
    NEEDS_SIGN_OFF = "needs_sign_off"
    DUE = "due"
    NOT_DUE = "not_due"
    CLEARED = "cleared"
    NEWLY_ASKED = "newly_asked"
    NO_LONGER_ASKED = "no_longer_asked"


TURNS = {
    Standing.LATE: Effect.LATE,
    Standing.NEEDS_SIGN_OFF: Effect.NEEDS_SIGN_OFF,
    Standing.DUE: Effect.DUE,
    Standing.NOT_DUE: Effect.NOT_DUE,
    Standing.CLEARED: Effect.CLEARED,
}


def effects(now: Answer | None, then: Answer | None) -> frozenset[Effect]:
    """Return what changes for one assignment; None: it is not asked for."""
    if now is None and then is None:
        return frozenset()
    if then is None:
        return frozenset({Effect.NO_LONGER_ASKED})
    if now is None:
        return frozenset({Effect.NEWLY_ASKED, TURNS[then.standing]})
    if now.standing == then.standing:
        return frozenset()
    found = {TURNS[then.standing]}
    if now.standing == Standing.CLEARED and Reason.CLEARANCE_TOO_OLD in then.reasons:
        found.add(Effect.TOO_OLD)
    return frozenset(found)
