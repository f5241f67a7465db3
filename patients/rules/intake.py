"""What becomes of a schedule message?  Applied by itself, or kept for a person, with the reasons.

The message's facts were compared with the record by patients/rules/schedule_changes.py, as a line
of a file is; a file has a person who looks at the preview, a message has nobody. So whatever a
person would have stopped at keeps it waiting, and so does whatever says that it is not the newest.
"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum

from patients.rules.message_reading import Doubt, Noted, Reading
from patients.rules.schedule_changes import Proposal, Verdict
from patients.rules.schedule_reasons import Notice, Problem, Said
from patients.rules.schedule_rows import Unreadable


class Fate(StrEnum):
    """What becomes of a message as it comes in."""

    APPLIED = "applied"
    UNCHANGED = "unchanged"
    WAITS = "waits"
    SET_ASIDE = "set_aside"
    OVERTAKEN = "overtaken"
    REFUSED = "refused"


# A clock may be wrong by some minutes (fault 18); more, and the message would hold back later ones.
CLOCKS_DIFFER = timedelta(minutes=15)

# These need a person whatever the record says; the other doubts only if something would change.
ALWAYS = frozenset(
    {
        Doubt.DATES_DIFFER,
        Doubt.NO_DATE,
        Doubt.ZONE_UNCLEAR,
        Doubt.DID_NOT_COME,
        Doubt.STATUS_CONTRADICTS,
        Doubt.STATUS_UNKNOWN,
        Doubt.SEVERAL_PROCEDURES,
    }
)
# What a person would have stopped at in the preview of a file.
STOPPED_AT = frozenset(
    {
        Notice.NAME_CHANGED,
        Notice.POSSIBLE_DUPLICATE,
        Notice.DATE_PASSED,
        Notice.ANOTHER_OPEN_OPERATION,
    }
)


@dataclass(frozen=True)
class History:
    """When the record that a message is about was written; None where it never was.

    `newest_*`: when the newest message that was taken was sent. `changed_*`: the latest change by
    a person or a file. `case_known`: an operation of ours has the message's case number.
    """

    newest_of_operation: datetime | None = None
    changed_operation: datetime | None = None
    newest_of_patient: datetime | None = None
    changed_patient: datetime | None = None
    case_known: bool = True


@dataclass(frozen=True)
class Judged:
    """What becomes of a message, why, and what would be written of it."""

    fate: Fate
    proposal: Proposal | None
    doubts: tuple[Noted, ...] = ()
    problems: tuple[Problem, ...] = ()


def refused(reading: Reading) -> Judged:
    """Return the refusal of a message whose facts cannot be read."""
    assert isinstance(reading.row, Unreadable)
    return Judged(Fate.REFUSED, None, problems=reading.row.problems)


def judge(reading: Reading, proposal: Proposal, history: History, *, at: datetime) -> Judged:
    """Say what becomes of a readable message that came in at an instant."""
    proposal = without_older_facts(reading, proposal, history)
    if proposal.verdict == Verdict.REJECTED:
        # Somebody said so. If the operation is on record, that it became another one is news.
        aside = proposal.not_ours and not history.case_known
        fate = Fate.SET_ASIDE if aside else Fate.WAITS
        return Judged(fate, proposal, reading.doubts, proposal.problems)
    sent, newest = reading.sent_at, history.newest_of_operation
    if sent and newest and sent < newest:
        return Judged(Fate.OVERTAKEN, proposal, reading.doubts)
    doubts = (*reading.doubts, *_doubts(reading, proposal, history, at))
    if any(doubt.what in ALWAYS for doubt in doubts):
        return Judged(Fate.WAITS, proposal, doubts)
    if proposal.verdict == Verdict.UNCHANGED:
        return Judged(Fate.UNCHANGED, proposal, doubts)
    return Judged(Fate.WAITS if doubts else Fate.APPLIED, proposal, doubts)


def without_older_facts(reading: Reading, proposal: Proposal, history: History) -> Proposal:
    """Leave the patient's facts alone when the record is newer than the message."""
    known = [at for at in (history.newest_of_patient, history.changed_patient) if at]
    sent = reading.sent_at
    newer = sent is None or any(at > sent for at in known)
    if not proposal.patient_changes or not known or not newer:
        return proposal
    verdict = proposal.verdict
    if verdict == Verdict.UPDATED and not proposal.operation_changes:
        verdict = Verdict.UNCHANGED
    about_the_name = (Notice.NAME_CHANGED, Notice.NAME_RECASED)
    notices = tuple(said for said in proposal.notices if said.notice not in about_the_name)
    return replace(
        proposal,
        verdict=verdict,
        patient_changes=(),
        notices=(Said(Notice.RECORD_IS_NEWER), *notices),
    )


def _doubts(reading: Reading, proposal: Proposal, history: History, at: datetime) -> list[Noted]:
    found = []
    sent = reading.sent_at
    if sent and sent > at + CLOCKS_DIFFER:
        found.append(Noted(Doubt.SENT_IN_FUTURE))
    if sent and sent == history.newest_of_operation:
        found.append(Noted(Doubt.SAME_TIME))
    changed = history.changed_operation
    if changed and (sent is None or changed > sent) and proposal.operation_changes:
        found.append(Noted(Doubt.CHANGED_HERE_SINCE))
    found += [
        Noted(Doubt.WORTH_A_LOOK, said.detail, said.notice)
        for said in proposal.notices
        if said.notice in STOPPED_AT
    ]
    return found
