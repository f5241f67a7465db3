"""How often was the quiz taken through an assignment's links, and may it be taken again?"""

from django.db.models import BigIntegerField, QuerySet

from education.models import Invitation, Submission, TeachBack
from education.rules.scoring import PastAttempt, needs_teach_back
from patients import programme
from patients.prepared import Given, prepared


def attempts_since_pass(assignment_id: int) -> list[Submission]:
    """Return the submissions through an assignment's links after the last passed one.

    A quiz passed for an earlier OR date uses up no attempt of the next round.
    """
    since: list[Submission] = []
    for submission in _handed_in(assignment=assignment_id):
        since = [] if submission.passed else [*since, submission]
    return since


@prepared
def _handed_in() -> QuerySet[Submission]:
    of_one = Given("assignment", BigIntegerField())
    rows = Submission.objects.filter(attempt__invitation__assignment=of_one)
    return rows.order_by("recorded_at", "id")


def attempts_left(assignment_id: int) -> int:
    """Return how many more attempts the programme allows; 0 when a teach-back must come first."""
    allowed = programme.current().attempts_allowed
    since = attempts_since_pass(assignment_id)
    past = [PastAttempt(s.passed, frozenset(s.unsafe)) for s in since]
    if not needs_teach_back(past, attempts_allowed=allowed):
        return allowed - len(since)
    return int(_one_more(assignment_id, since[-1]))


def _one_more(assignment_id: int, last: Submission) -> bool:
    """Whether the last teach-back gave one more attempt, which has not been used since."""
    latest = TeachBack.objects.standing().filter(assignment=assignment_id).last()
    return latest is not None and latest.one_more_attempt and latest.recorded_at > last.recorded_at


def may_begin(invitation: Invitation) -> bool:
    """One pass is enough for one link; otherwise as often as the programme allows."""
    passed = Submission.objects.filter(attempt__invitation=invitation, passed=True).exists()
    return not passed and attempts_left(invitation.assignment_id) > 0
