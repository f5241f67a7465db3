"""Beginning, answering and handing in a quiz; promises W3 and C6 at the level of the acts."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection, transaction

from education.invite import invite
from education.models import (
    Assignment,
    Attempt,
    Clearance,
    DraftAnswer,
    IdentityDecision,
    Invitation,
    Submission,
)
from education.rules.scoring import Given
from education.rules.standing import Reason, Standing
from education.standings import standing_of
from education.take import NoAttemptLeft, answers_given, begin, save_answer
from patients.schedule import move
from tests.education.short_module import a_short_edition, answer, hand_in, short_module, take
from tests.factories import (
    a_programme,
    an_assignment,
    an_edition,
    an_invitation,
    an_operation,
    right_answers,
)

pytestmark = pytest.mark.django_db

AT = datetime(2026, 3, 2, 15, tzinfo=UTC)
LATER = AT + timedelta(hours=1)
OR_DATE = date(2026, 3, 22)


@pytest.fixture
def link(request: pytest.FixtureRequest) -> Invitation:
    a_programme(at=AT, attempts_allowed=3)
    text = short_module(critical=(0,))
    module = a_short_edition(at=AT, text=text).module
    operation = an_operation(at=AT, or_date=OR_DATE)
    assignment = an_assignment(operation=operation, module=module, opens_days=-28, at=AT)
    return an_invitation(assignment=assignment, at=AT)[0]


def _answers(submission: Submission) -> str:
    given = submission.answers.order_by("question__position")
    return "".join("-" if a.given is None else str(int(a.right)) for a in given)


def test_beginning_twice_is_one_attempt(link: Invitation) -> None:
    assert begin(link, at=AT) == begin(link, at=LATER)
    assert Attempt.objects.get().recorded_at == AT


def test_the_last_answer_given_counts(link: Invitation) -> None:
    attempt = begin(link, at=AT)
    answer(attempt, "00000", at=AT)
    answer(attempt, "11111", at=LATER)
    assert DraftAnswer.objects.count() == 5
    assert hand_in(attempt, at=LATER).passed


def test_every_answer_is_kept_with_the_submission(link: Invitation) -> None:
    submission = take(link, "110-1", at=AT)
    assert _answers(submission) == "110-1"
    assert (submission.right, submission.total, submission.passed) == (3, 5, False)
    assert submission.unsafe == []


def test_a_safety_critical_question_got_wrong_is_named(link: Invitation) -> None:
    submission = take(link, "01111", at=AT)
    assert (submission.right, submission.passed, submission.unsafe) == (4, False, ["q0"])


def test_an_answer_after_handing_in_changes_nothing(link: Invitation) -> None:
    attempt = begin(link, at=AT)
    answer(attempt, "11000", at=AT)
    submission = hand_in(attempt, at=AT)
    answer(attempt, "11111", at=LATER)
    assert _answers(submission) == "11000"
    assert all(draft.recorded_at == AT for draft in attempt.drafts.all())


def test_handed_in_twice_the_first_one_stands(link: Invitation) -> None:
    attempt = begin(link, at=AT)
    answer(attempt, "11111", at=AT)
    first = hand_in(attempt, at=AT)
    again = hand_in(attempt, at=LATER, given_names="Somebody", family_names="Else")
    assert again == first
    assert again.given_names == first.given_names
    assert Submission.objects.count() == Clearance.objects.count() == 1


def test_one_pass_is_enough_for_one_link(link: Invitation) -> None:
    take(link, "11111", at=AT)
    with pytest.raises(NoAttemptLeft):
        begin(link, at=LATER)


def test_attempts_are_used_up(link: Invitation) -> None:
    for _ in range(3):
        take(link, "10000", at=AT)
    with pytest.raises(NoAttemptLeft):
        begin(link, at=LATER)
    assert [a.number for a in Attempt.objects.all()] == [1, 2, 3]


def test_a_safety_critical_question_wrong_twice_ends_it_early(link: Invitation) -> None:
    take(link, "01111", at=AT)
    take(link, "01111", at=AT)
    with pytest.raises(NoAttemptLeft):
        begin(link, at=LATER)


def test_attempts_count_over_all_links_of_the_assignment(link: Invitation) -> None:
    take(link, "10000", at=AT)
    take(link, "10000", at=AT)
    second, _ = an_invitation(assignment=link.assignment, at=LATER)
    take(second, "10000", at=LATER)
    with pytest.raises(NoAttemptLeft):
        begin(second, at=LATER)


def test_a_new_edition_is_for_those_who_begin_after_it(link: Invitation) -> None:
    """Promise C6: the edition that was begun is the one that is scored, with its own key."""
    attempt = begin(link, at=AT)
    answer(attempt, "111--", at=AT)
    other_key = short_module(pass_mark=100, questions=7)
    edition = a_short_edition(at=LATER, text=other_key, earlier_clearances_count=False)
    assert begin(link, at=LATER) == attempt
    answer(attempt, "11110", at=LATER)
    submission = hand_in(attempt, at=LATER)
    assert (submission.edition.number, submission.total, submission.passed) == (1, 5, True)
    second, _ = an_invitation(assignment=link.assignment, at=LATER)
    assert begin(second, at=LATER).edition == edition


def test_a_clearance_on_an_edition_that_was_superseded_meanwhile_does_not_count(
    link: Invitation,
) -> None:
    attempt = begin(link, at=AT)
    answer(attempt, "11111", at=AT)
    a_short_edition(at=LATER, earlier_clearances_count=False)
    hand_in(attempt, at=LATER)
    told = standing_of(link.assignment, on=date(2026, 3, 2))
    assert told.answer.reasons == (Reason.EDITION_SUPERSEDED, Reason.NEVER_INVITED)


def test_what_was_begun_behind_an_earlier_link_is_done_once_a_later_one_is_passed(
    link: Invitation,
) -> None:
    """For a date moved far ahead the patient is to be invited anew, not "not finished"."""
    answer(begin(link, at=AT), "1----", at=AT)
    second, _ = an_invitation(assignment=link.assignment, at=LATER)
    take(second, "11111", at=LATER)
    move(link.assignment.operation, date(2026, 9, 1), at=LATER)
    told = standing_of(Assignment.objects.get(), on=date(2026, 8, 20))
    assert told.answer.standing == Standing.DUE
    assert told.answer.reasons == (Reason.CLEARANCE_TOO_OLD, Reason.NEVER_INVITED)
    assert told.invitation is None


def test_numbers_and_several_options_come_back_as_they_were_given() -> None:
    edition = an_edition(at=AT)
    assignment = an_assignment(operation=an_operation(at=AT), module=edition.module, at=AT)
    attempt = begin(an_invitation(assignment=assignment, at=AT)[0], at=AT)
    right = right_answers(edition)
    for question in edition.questions.all():
        save_answer(attempt, question, right[question.pk], at=AT)
    assert answers_given(attempt) == right
    assert hand_in(attempt, at=AT).right == len(right)


def test_nothing_given_is_stored_as_nothing(link: Invitation) -> None:
    attempt = begin(link, at=AT)
    question = attempt.edition.questions.all()[0]
    save_answer(attempt, question, Given(), at=AT)
    assert not hand_in(attempt, at=AT).passed


@pytest.mark.django_db(transaction=True)
def test_fifty_at_once_are_one_submission_and_one_clearance(link: Invitation) -> None:
    """Promise W3, on connections of their own."""
    attempt = begin(link, at=AT)
    answer(attempt, "11111", at=AT)

    def hand_in_once(number: int) -> int:
        try:
            return hand_in(Attempt.objects.get(pk=attempt.pk), at=LATER).pk
        finally:
            connection.close()

    with ThreadPoolExecutor(8) as pool:
        submitted = set(pool.map(hand_in_once, range(50)))
    assert len(submitted) == 1
    assert Submission.objects.count() == 1
    assert IdentityDecision.objects.count() == Clearance.objects.count() == 1


def test_nothing_is_left_of_a_submission_that_was_rolled_back(link: Invitation) -> None:
    attempt = begin(link, at=AT)
    answer(attempt, "11111", at=AT)
    with transaction.atomic():
        hand_in(attempt, at=AT)
        transaction.set_rollback(True)
    assert not Submission.objects.exists()
    assert DraftAnswer.objects.count() == 5, "the answers are still there"


def test_a_link_of_the_next_round_may_be_used_after_a_pass(link: Invitation) -> None:
    take(link, "11111", at=AT)
    following = invite(link.assignment, at=LATER)
    assert isinstance(following, Invitation)
    assert take(following, "11111", at=LATER).passed


def test_other_questions_wrong_twice_do_not_call_for_a_teach_back(link: Invitation) -> None:
    """Only a safety-critical question counts; here it is the first one, and it is right."""
    for at in (AT, LATER):
        assert not take(link, "10000", at=at).passed
    reasons = standing_of(link.assignment, on=OR_DATE - timedelta(days=20)).answer.reasons
    assert Reason.FAILED in reasons
    assert Reason.NEEDS_TEACH_BACK not in reasons
