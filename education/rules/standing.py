"""Is the patient cleared?  The one rule that decides, and says why.

CLEARED means: an unrevoked clearance dated inside the window; or dated later, up to the OR date
(without end for what is due after the operation), and signed off by a clinician; or an unrevoked
clinician's waiver. Where the programme wants a second clinician, a sign-off or waiver counts once
that one has agreed. Read `standing` from the top.
The same question is answered for long lists in SQL by `education.models.AssignmentQuerySet`; a
property-based test holds the two equal.
"""

from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum


class Standing(StrEnum):
    CLEARED = "cleared"
    NEEDS_SIGN_OFF = "needs_sign_off"
    LATE = "late"
    DUE = "due"
    NOT_DUE = "not_due"


FLAGGED = frozenset({Standing.LATE, Standing.DUE, Standing.NEEDS_SIGN_OFF})


class Reason(StrEnum):
    # why it is cleared, or nearly
    QUIZ_PASSED = "quiz_passed"
    TEACH_BACK_SEEN = "teach_back_seen"
    WAIVED = "waived"
    LATE_BUT_SIGNED_OFF = "late_but_signed_off"
    CLEARED_AFTER_CLEAR_BY = "cleared_after_clear_by"
    # accepted by one clinician, and not by the second yet
    SIGN_OFF_WAITS_FOR_SECOND = "sign_off_waits_for_second"
    WAIVER_WAITS_FOR_SECOND = "waiver_waits_for_second"
    # why an earlier clearance does not count
    CLEARANCE_TOO_OLD = "clearance_too_old"
    CLEARED_TOO_LATE = "cleared_too_late"
    EDITION_SUPERSEDED = "edition_superseded"
    # how far the patient came, and whose move it is
    IDENTITY_UNDECIDED = "identity_undecided"
    NEEDS_VISIT = "needs_visit"
    NEEDS_TEACH_BACK = "needs_teach_back"
    FAILED = "failed"
    NOT_FINISHED = "not_finished"
    NOT_OPENED = "not_opened"
    NEVER_INVITED = "never_invited"
    # why no day can be named
    NO_DATE = "no_date"


WAITS_FOR_SECOND = frozenset({Reason.SIGN_OFF_WAITS_FOR_SECOND, Reason.WAIVER_WAITS_FOR_SECOND})


class Evidence(StrEnum):
    QUIZ = "quiz"
    TEACH_BACK = "teach_back"


EVIDENCE_REASON = {
    Evidence.QUIZ: Reason.QUIZ_PASSED,
    Evidence.TEACH_BACK: Reason.TEACH_BACK_SEEN,
}


@dataclass(frozen=True)
class ClearanceFact:
    """An unrevoked clearance of the assignment's module. `counts`: its edition still counts.

    `awaits_second`: signed off by one clinician, and a second has to agree first.
    """

    cleared_on: date
    evidence: Evidence
    signed_off: bool = False
    awaits_second: bool = False
    counts: bool = True
    id: int = 0


@dataclass(frozen=True)
class Progress:
    """How far the patient came with this module."""

    invited: bool = False
    begun: bool = False
    failed: bool = False
    needs_teach_back: bool = False
    needs_visit: bool = False
    undecided: bool = False


@dataclass(frozen=True)
class Facts:
    """What is on record for one assignment, as it stood on the day asked about."""

    or_date: date | None
    opens_on: date | None
    clear_by: date | None
    clearances: tuple[ClearanceFact, ...] = ()
    waived: bool = False
    waiver_awaits_second: bool = False
    progress: Progress = field(default_factory=Progress)


@dataclass(frozen=True)
class Answer:
    """A standing with its reasons, the weightiest first; never without a reason."""

    standing: Standing
    reasons: tuple[Reason, ...]
    cleared_on: date | None = None

    @property
    def flagged(self) -> bool:
        return self.standing in FLAGGED


def standing(facts: Facts, *, on: date, notice_days: int) -> Answer:
    """Say what an assignment is on the day `on`, and why.

    `notice_days`: how many days before the clear-by date the programme wants to be warned.
    """
    if facts.waived:
        return Answer(Standing.CLEARED, (Reason.WAIVED,))
    waits: tuple[Reason, ...] = ()
    if facts.waiver_awaits_second:
        waits = (Reason.WAIVER_WAITS_FOR_SECOND,)
    if facts.opens_on is None or facts.clear_by is None or facts.or_date is None:
        return Answer(Standing.NOT_DUE, (Reason.NO_DATE, *waits, how_far(facts.progress)))

    counting = [c for c in facts.clearances if c.counts]
    in_window = [c for c in counting if facts.opens_on <= c.cleared_on <= facts.clear_by]
    if in_window:
        first = min(in_window, key=lambda c: c.cleared_on)
        return Answer(Standing.CLEARED, (EVIDENCE_REASON[first.evidence],), first.cleared_on)

    afterwards = late_clearances(facts)
    signed_off = [c for c in afterwards if c.signed_off]
    if signed_off:
        first = min(signed_off, key=lambda c: c.cleared_on)
        reasons = (Reason.LATE_BUT_SIGNED_OFF, EVIDENCE_REASON[first.evidence])
        return Answer(Standing.CLEARED, reasons, first.cleared_on)
    if afterwards:
        first = min(afterwards, key=lambda c: c.cleared_on)
        if any(c.awaits_second for c in afterwards):
            waits += (Reason.SIGN_OFF_WAITS_FOR_SECOND,)
        waits += (Reason.CLEARED_AFTER_CLEAR_BY, EVIDENCE_REASON[first.evidence])
        return Answer(Standing.NEEDS_SIGN_OFF, waits, first.cleared_on)

    word = _not_cleared(facts.clear_by, on, notice_days)
    return Answer(word, (*waits, *why_not_cleared(facts)))


def late_clearances(facts: Facts) -> list[ClearanceFact]:
    """Return the clearances that a clinician's sign-off makes count: late, up to the OR date.

    What is due after the operation has no later day that it must be learned by, so any late one.
    """
    if facts.clear_by is None or facts.or_date is None:
        return []
    last = date.max if facts.clear_by > facts.or_date else facts.or_date
    return [c for c in facts.clearances if c.counts and facts.clear_by < c.cleared_on <= last]


def _not_cleared(clear_by: date, on: date, notice_days: int) -> Standing:
    if on > clear_by:
        return Standing.LATE
    if on >= clear_by - timedelta(days=notice_days):
        return Standing.DUE
    return Standing.NOT_DUE


def why_not_cleared(facts: Facts) -> tuple[Reason, ...]:
    """Return the reasons of an assignment that nothing clears: what lapsed, then how far it is."""
    reasons = []
    if any(not c.counts for c in facts.clearances):
        reasons.append(Reason.EDITION_SUPERSEDED)
    counting = [c.cleared_on for c in facts.clearances if c.counts]
    if facts.opens_on and any(day < facts.opens_on for day in counting):
        reasons.append(Reason.CLEARANCE_TOO_OLD)
    if facts.clear_by and any(day > facts.clear_by for day in counting):
        reasons.append(Reason.CLEARED_TOO_LATE)  # later than a sign-off reaches, too
    return (*reasons, how_far(facts.progress))


def how_far(progress: Progress) -> Reason:
    """Return the one word for how far the patient came: the latest thing that waits on somebody."""
    if progress.undecided:
        return Reason.IDENTITY_UNDECIDED
    if progress.needs_visit:
        return Reason.NEEDS_VISIT
    if progress.needs_teach_back:
        return Reason.NEEDS_TEACH_BACK
    if progress.failed:
        return Reason.FAILED
    if progress.begun:
        return Reason.NOT_FINISHED
    if progress.invited:
        return Reason.NOT_OPENED
    return Reason.NEVER_INVITED
