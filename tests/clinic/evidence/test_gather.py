"""What a clearance record gathers: the trail of each decision, now and as it stood (promise C5)."""

from copy import deepcopy
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from clinic.evidence.gather import gather
from clinic.evidence.record import ClearanceRecord
from education.clear import clear_by_teach_back, revoke
from education.identify import match, undo
from education.models import Clearance
from patients import programme
from patients.clock import now
from patients.register import correct
from patients.schedule import change, move
from tests.clinic.evidence.a_record import Story, a_story
from tests.factories import a_patient, a_submission, an_invitation

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("told")]


@pytest.fixture(scope="module")
def told(kept_open: None) -> Story:
    return a_story(given_names="Ottilie", family_names="Marsh")


@pytest.fixture
def story(told: Story) -> Story:
    return deepcopy(told)


def of(story: Story, days: int) -> ClearanceRecord:
    """Return the record as it stood at the end of a day of the story."""
    return story.record(on=programme.local_day(story.day(days)))


def test_it_tells_what_a_standing_rests_on_and_how_it_came_about(story: Story) -> None:
    record = story.record()
    (operation,) = record.operations
    before, home = operation.required
    assert (before.standing, before.reasons) == ("cleared", ("quiz_passed",))
    assert before.rests_on == Clearance.objects.get(decision__submission=story.passed).pk
    assert (home.standing, home.before_operation, home.rests_on) == ("not_due", False, None)
    assert operation.word == "confirm"
    assert [plan.booking for plan in operation.plans] == ["proposed", "proposed", "confirmed"]
    assert operation.plans[1].reason == "The room was needed."
    assert [quiz.passed for quiz in record.quizzes] == [False, True]
    assert record.quizzes[0].decisions[0].reasons == (
        "birth_date_equal",
        "name_equal",
        "link_agrees",
    )
    taken_back = home.waivers[0].taken_back
    assert taken_back
    assert taken_back.reason == "Not yet, it seems."
    revoked = record.clearances[1].revoked
    assert revoked
    assert revoked.by == "Imogen Tallis"
    assert operation.confirmations[0].made.by == "Dr. Priscilla Onwuachi"


@pytest.mark.parametrize(
    "days, standing, booking, quizzes, why",
    [
        (1, "not_due", "proposed", 0, "booked, and nothing has happened"),
        (3, "not_due", "proposed", 1, "failed once"),
        (5, "cleared", "proposed", 2, "passed"),
        (19, "cleared", "proposed", 2, "the day before it was confirmed"),
        (20, "cleared", "confirmed", 2, "the day on which it was confirmed"),
    ],
)
def test_a_past_day_knows_nothing_of_what_came_later(
    story: Story, days: int, standing: str, booking: str, quizzes: int, why: str
) -> None:
    record = of(story, days)
    (operation,) = record.operations
    assert record.past
    assert operation.required[0].standing == standing, why
    assert operation.booking == booking, why
    assert len(record.quizzes) == quizzes, why
    assert bool(record.person.other_names) == (days >= 7)
    assert len(operation.confirmations) == (days >= 20), why


def test_a_past_days_record_is_unchanged_by_later_events(story: Story) -> None:
    """C5: everything that can still happen to the patient happens, and that day says the same."""
    then = [of(story, days) for days in (4, 9, 12, 25)]
    at, by = now(), story.dietitian.pk
    correct(story.patient, at=at, source="married", family_names="Afterwards")
    an_invitation(assignment=story.assignment, at=at)
    move(story.operation, None, at=at, reason="postponed")
    undo(story.passed, at=at, by_id=by, reason="a slip")
    clear_by_teach_back(story.patient, story.assignment.module, at=at, by_id=by, note="again")
    again = [of(story, days) for days in (4, 9, 12, 25)]
    made = [replace(one, made_at=at) for one in then]
    assert [replace(one, made_at=at) for one in again] == made
    assert story.record().person.family_names == "Afterwards"


def test_another_persons_quiz_is_named_and_nothing_of_it_is_told(story: Story) -> None:
    link, _ = an_invitation(assignment=story.assignment, at=now())
    other = a_patient(given_names="Somebody", family_names="Else")
    taken = a_submission(
        link, given_names="Somebody", family_names="Else", birth_date=other.birth_date
    )
    match_by_hand = taken.decisions.first()
    if match_by_hand is None:
        match(taken, other, at=now(), by_id=story.dietitian.pk)
    quiz = story.record().quizzes[-1]
    assert quiz.id == taken.pk
    assert not quiz.ours
    assert (quiz.typed_name, quiz.typed_birth_date, quiz.answers) == ("", None, ())


def test_the_number_of_queries_does_not_grow_with_what_happened(
    story: Story, django_assert_max_num_queries: Any
) -> None:
    for day in range(21, 30):
        clearance = clear_by_teach_back(
            story.patient,
            story.assignment.module,
            at=story.day(day),
            by_id=story.dietitian.pk,
            note="again",
        )
        revoke(clearance, reason="twice", at=story.day(day), by_id=story.dietitian.pk)
        change(story.operation, at=story.day(day) + timedelta(hours=1), surgeon=f"Dr. {day}")
    with django_assert_max_num_queries(45):
        gather(story.patient, on=None, at=now(), by="")
