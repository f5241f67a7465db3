"""The words of staff's pages for teach-backs, and for help asked for to reach a patient."""

from education.rules.escalation import EscalationEnded
from education.rules.teach_back import TeachBackOutcome

OUTCOME = {
    TeachBackOutcome.UNDERSTOOD: "understood",
    TeachBackOutcome.NOT_YET: "not yet",
    TeachBackOutcome.NEEDS_VISIT: "needs a visit",
}

RECORDED = {
    TeachBackOutcome.UNDERSTOOD: "Teach-back recorded, and cleared on its evidence,",
    TeachBackOutcome.NOT_YET: "Teach-back recorded: not yet,",
    TeachBackOutcome.NEEDS_VISIT: "Teach-back recorded: needs a visit,",
}

ESCALATION_ENDED = {
    EscalationEnded.REACHED: "the patient was reached",
    EscalationEnded.CLEARED: "the patient was cleared",
    EscalationEnded.HANDED_IN: "the patient handed in a quiz",
    EscalationEnded.NOT_WAITING: "no open module waits for the patient any more",
    EscalationEnded.CORRECTED: "a message that it rested on was corrected",
}


def understood_words(understood: bool | None) -> str:
    """Return whether a point was understood."""
    if understood is None:
        return "not gone through"
    return "understood" if understood else "not yet"
