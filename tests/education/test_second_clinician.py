"""Where the programme wants a second clinician, nothing one clinician accepted counts alone."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import DatabaseError, transaction

from education import clear
from education.models import Assignment, SecondOpinion, SignOff, Waiver
from education.rules.standing import Reason, Standing
from education.standings import Told, standing_of, standings_as_of
from patients import programme
from patients.merge import merge, undo_merge
from patients.models import Operation
from tests.factories import a_member, a_patient, a_programme, an_assignment, an_operation

pytestmark = pytest.mark.django_db

# Operation on 20 March 2026, clear by 13 March; cleared on the 15th, two days late.
ENROLLED = datetime(2026, 2, 1, 15, tzinfo=UTC)


def instant(march: int) -> datetime:
    """Noon in Chicago, give or take an hour, on a day of March 2026."""
    return datetime(2026, 3, march, 17, tzinfo=UTC)


class People:
    """Two clinicians of the programme."""

    def __init__(self) -> None:
        self.first, self.second = a_member("clinician"), a_member("clinician")


@pytest.fixture
def people() -> People:
    return People()


@pytest.fixture
def assignment(people: People) -> Assignment:
    """Cleared two days late, in a programme that wants two clinicians."""
    a_programme(at=ENROLLED, second_clinician=True)
    operation = an_operation(
        patient=a_patient(at=ENROLLED),
        at=ENROLLED,
        or_date=datetime(2026, 3, 20, tzinfo=UTC).date(),
    )
    assignment = an_assignment(operation=operation, at=ENROLLED)
    clear.clear_by_teach_back(
        operation.patient, assignment.module, at=instant(15), by_id=people.first.pk, note="all"
    )
    return assignment


def fresh(assignment: Assignment) -> Assignment:
    return Assignment.objects.select_related("operation").get(pk=assignment.pk)


def told(assignment: Assignment, march: int) -> Told:
    return standing_of(fresh(assignment), on=instant(march).date())


def then(assignment: Assignment, march: int) -> Standing:
    return standings_as_of([fresh(assignment)], on=instant(march).date())[0].answer.standing


def signed_off(assignment: Assignment, people: People) -> SignOff:
    return clear.sign_off(assignment, reason="heard it", at=instant(16), by_id=people.first.pk)


def test_a_sign_off_counts_from_the_second_clinicians_agreement_on(
    assignment: Assignment, people: People
) -> None:
    """Asked about each day afterwards, the answer is what it was then (promise C5)."""
    accepted = signed_off(assignment, people)
    waiting = told(assignment, 16).answer
    assert waiting.standing == Standing.NEEDS_SIGN_OFF
    assert waiting.reasons[0] == Reason.SIGN_OFF_WAITS_FOR_SECOND
    assert not Assignment.objects.cleared().exists()
    clear.give_second_opinion(
        accepted, agrees=True, reason="so did I", at=instant(18), by_id=people.second.pk
    )
    assert told(assignment, 18).answer.standing == Standing.CLEARED
    assert Assignment.objects.cleared().exists()
    clear.revoke_sign_off(accepted, reason="no", at=instant(19), by_id=people.second.pk)
    assert told(assignment, 19).answer.standing == Standing.NEEDS_SIGN_OFF
    assert [then(assignment, day) for day in (15, 16, 17, 18, 19)] == [
        Standing.NEEDS_SIGN_OFF,
        Standing.NEEDS_SIGN_OFF,
        Standing.NEEDS_SIGN_OFF,
        Standing.CLEARED,
        Standing.NEEDS_SIGN_OFF,
    ]


def test_a_waiver_too(assignment: Assignment, people: People) -> None:
    waiver = clear.waive(assignment, reason="done there", at=instant(16), by_id=people.first.pk)
    assert told(assignment, 16).answer.reasons[0] == Reason.WAIVER_WAITS_FOR_SECOND
    clear.give_second_opinion(
        waiver, agrees=True, reason="seen it", at=instant(18), by_id=people.second.pk
    )
    assert told(assignment, 18).answer.reasons == (Reason.WAIVED,)
    assert [then(assignment, day) for day in (17, 18)] == [
        Standing.NEEDS_SIGN_OFF,
        Standing.CLEARED,
    ]


def test_nobody_agrees_with_themselves(assignment: Assignment, people: People) -> None:
    accepted = signed_off(assignment, people)
    with pytest.raises(clear.SameClinician):
        clear.give_second_opinion(
            accepted, agrees=True, reason="again", at=instant(17), by_id=people.first.pk
        )
    assert not SecondOpinion.objects.exists()


def test_declined_it_never_counts_and_may_be_signed_off_anew(
    assignment: Assignment, people: People
) -> None:
    accepted = signed_off(assignment, people)
    with pytest.raises(clear.NothingToSignOff):  # while one waits there is no other
        clear.sign_off(assignment, reason="again", at=instant(16), by_id=people.second.pk)
    clear.give_second_opinion(
        accepted, agrees=False, reason="not enough", at=instant(17), by_id=people.second.pk
    )
    assert told(assignment, 17).answer.reasons[0] == Reason.CLEARED_AFTER_CLEAR_BY
    with pytest.raises(clear.NothingWaits):
        clear.give_second_opinion(
            accepted, agrees=True, reason="after all", at=instant(17), by_id=people.second.pk
        )
    anew = clear.sign_off(assignment, reason="asked more", at=instant(18), by_id=people.first.pk)
    assert anew.pk != accepted.pk


def test_the_setting_of_the_day_it_was_made_on_decides(
    assignment: Assignment, people: People
) -> None:
    accepted = signed_off(assignment, people)
    programme.change(at=instant(17), by_id=people.first.pk, second_clinician=False)
    assert told(assignment, 17).answer.standing == Standing.NEEDS_SIGN_OFF
    clear.revoke_sign_off(accepted, reason="alone", at=instant(17), by_id=people.first.pk)
    clear.sign_off(assignment, reason="alone", at=instant(17), by_id=people.first.pk)
    assert told(assignment, 17).answer.standing == Standing.CLEARED
    programme.change(at=instant(18), by_id=people.first.pk, second_clinician=True)
    assert told(assignment, 18).answer.standing == Standing.CLEARED


@pytest.mark.parametrize("agrees", [True, None], ids=["agreed to", "waiting"])
def test_a_merge_takes_it_along_as_it_is(
    assignment: Assignment, people: People, agrees: bool | None
) -> None:
    accepted = signed_off(assignment, people)
    if agrees:
        clear.give_second_opinion(
            accepted, agrees=True, reason="yes", at=instant(16), by_id=people.second.pk
        )
    before = told(assignment, 17).answer
    kept = a_patient(at=ENROLLED)
    merged = merge(
        kept, assignment.operation.patient, reason="one", at=instant(17), by_id=people.first.pk
    )
    assert Operation.objects.get(pk=assignment.operation_id).patient == kept
    assert told(assignment, 17).answer == before
    clear.revoke_sign_off(accepted, reason="no", at=instant(18), by_id=people.second.pk)
    assert told(assignment, 18).answer.reasons[0] == Reason.CLEARED_AFTER_CLEAR_BY
    undo_merge(merged, reason="two", at=instant(18), by_id=people.first.pk)
    assert told(assignment, 18).answer.reasons[0] == Reason.CLEARED_AFTER_CLEAR_BY


def test_the_database_takes_one_opinion_of_one_thing(
    assignment: Assignment, people: People
) -> None:
    accepted = signed_off(assignment, people)
    waiver = clear.waive(assignment, reason="x", at=instant(16), by_id=people.first.pk)
    assert isinstance(waiver, Waiver)
    wrong = SecondOpinion(agrees=True, reason="x", recorded_at=instant(17), by_id=people.second.pk)
    wrong.sign_off, wrong.waiver = accepted, waiver
    with pytest.raises(DatabaseError), transaction.atomic():
        wrong.save()
    assert instant(17) - instant(16) == timedelta(days=1)
