"""When a merge is undone: the identity decisions that were made while two patients were one.

A quiz that was taken for the kept patient's meanwhile may have been the other one's. Where the
other record could be meant, now that the two are apart, nobody is cleared on it: the decision is
undone, its clearance with it, and a person decides again. What cannot be meant for the other one
stays with the record that was kept.
"""

from datetime import datetime

from django.db.models import QuerySet

from education.identify import consider, undo
from education.models import MATCHED, Clearance, IdentityDecision, Submission
from patients.models import Merge
from patients.rules.identity import Verdict

UNDONE = "Decided while two records were merged, and the merge was undone: "
LONGEST = 500  # characters of a reason


def decided_since(merge: Merge) -> QuerySet[IdentityDecision]:
    """Return the decisions in force that gave the kept patient a quiz since a merge."""
    return (
        IdentityDecision.objects.in_force(
            patient=merge.kept_id, verdict__in=MATCHED, recorded_at__gte=merge.recorded_at
        )
        .select_related("submission__edition", "submission__attempt__invitation__assignment")
        .order_by("submission_id")
    )


def clearances_since(merge: Merge) -> QuerySet[Clearance]:
    """Return the clearances that rest on these decisions: some may end when the merge is undone."""
    return Clearance.objects.filter(decision__in=decided_since(merge), revocation__isnull=True)


def undo_what_is_in_doubt(merge: Merge, *, reason: str, at: datetime, by_id: int) -> int:
    """Undo those of them that could be the other record's. Returns how many.

    Called in the transaction that undoes the merge, when the two are apart again.
    """
    doubtful = [
        decision.submission
        for decision in decided_since(merge)
        if _could_be(merge.merged_id, decision.submission, else_sure_of=merge.kept_id)
    ]
    for submission in doubtful:
        undo(submission, reason=f"{UNDONE}{reason}"[:LONGEST], at=at, by_id=by_id)
    return len(doubtful)


def _could_be(patient_id: int, submission: Submission, *, else_sure_of: int) -> bool:
    asked = consider(submission)
    if asked.verdict == Verdict.AUTOMATIC and asked.person_id == else_sure_of:
        return False
    link_patient = submission.attempt.invitation.assignment.operation.patient_id
    meant = {link_patient, *(c.person_id for c in asked.candidates)}
    # Where nothing speaks for the one that was kept either, somebody may have meant both records.
    return patient_id in meant or else_sure_of not in meant
