"""Clearances by quiz and by teach-back, sign-offs, waivers, and taking each of them back."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import IntegrityError, transaction

from education.clear import (
    NothingToSignOff,
    clear_by_quiz,
    clear_by_teach_back,
    revoke,
    revoke_waiver,
    sign_off,
    waive,
)
from education.models import Assignment, Clearance, Revocation, SignOff, WaiverRevocation
from education.rules.standing import Answer, Evidence, Reason, Standing
from education.standings import standing_of
from patients.schedule import move
from tests.education.short_module import a_short_edition, take
from tests.factories import a_programme, an_assignment, an_invitation, an_operation

pytestmark = pytest.mark.django_db

# Chicago: the OR date is 22 March, the module is open from 22 February to 15 March.
AT = datetime(2026, 3, 2, 15, tzinfo=UTC)
OR_DATE = date(2026, 3, 22)
LATE = datetime(2026, 3, 17, 15, tzinfo=UTC)
Said = tuple[Standing, tuple[Reason, ...]]
CLEARED_LATE: Said = (
    Standing.NEEDS_SIGN_OFF,
    (Reason.CLEARED_AFTER_CLEAR_BY, Reason.TEACH_BACK_SEEN),
)
SIGNED: Said = (Standing.CLEARED, (Reason.LATE_BUT_SIGNED_OFF, Reason.TEACH_BACK_SEEN))


@pytest.fixture
def assignment(clinician: int) -> Assignment:
    a_programme(at=AT)
    return an_assignment(
        operation=an_operation(at=AT, or_date=OR_DATE),
        module=a_short_edition(at=AT).module,
        opens_days=-28,
        at=AT,
    )


def _teach_back(assignment: Assignment, at: datetime, by: int) -> Clearance:
    patient = assignment.operation.patient
    return clear_by_teach_back(patient, assignment.module, at=at, by_id=by, note="own words")


def _said(assignment: Assignment, on: date = OR_DATE) -> Said:
    answer: Answer = standing_of(Assignment.objects.get(pk=assignment.pk), on=on).answer
    return answer.standing, answer.reasons


def test_a_teach_back_clears_on_the_programmes_local_day(
    assignment: Assignment, clinician: int
) -> None:
    evening = datetime(2026, 3, 16, 4, 30, tzinfo=UTC)  # 23:30 of the 15th in Chicago
    clearance = _teach_back(assignment, evening, clinician)
    assert (clearance.cleared_on, clearance.evidence) == (date(2026, 3, 15), Evidence.TEACH_BACK)
    assert _said(assignment) == (Standing.CLEARED, (Reason.TEACH_BACK_SEEN,))


def test_a_teach_back_is_of_the_latest_edition(assignment: Assignment, clinician: int) -> None:
    second = a_short_edition(at=AT, earlier_clearances_count=False)
    assert _teach_back(assignment, AT, clinician).edition == second
    assert _said(assignment)[0] == Standing.CLEARED


def test_only_a_passed_quiz_of_a_known_patient_clears(assignment: Assignment) -> None:
    failed = take(an_invitation(assignment=assignment, at=AT)[0], "00000", at=AT)
    with pytest.raises(ValueError, match="passed quiz"):
        clear_by_quiz(failed.decisions.get(), at=AT)
    assert not Clearance.objects.exists()


def test_one_decision_clears_once(assignment: Assignment) -> None:
    passed = take(an_invitation(assignment=assignment, at=AT)[0], "11111", at=AT)
    with pytest.raises(IntegrityError), transaction.atomic():
        clear_by_quiz(passed.decisions.get(), at=AT)


def test_a_late_clearance_counts_once_signed_off(assignment: Assignment, clinician: int) -> None:
    _teach_back(assignment, LATE, clinician)
    assert _said(assignment) == CLEARED_LATE
    sign_off(assignment, reason="heard her myself", at=LATE, by_id=clinician)
    assert _said(assignment) == SIGNED


def test_there_is_nothing_to_sign_off_in_time_or_without_a_clearance(
    assignment: Assignment, clinician: int
) -> None:
    with pytest.raises(NothingToSignOff):
        sign_off(assignment, reason="?", at=LATE, by_id=clinician)
    _teach_back(assignment, AT, clinician)
    with pytest.raises(NothingToSignOff):
        sign_off(assignment, reason="?", at=LATE, by_id=clinician)
    assert not SignOff.objects.exists()


def test_a_second_sign_off_is_refused(assignment: Assignment, clinician: int) -> None:
    _teach_back(assignment, LATE, clinician)
    sign_off(assignment, reason="one", at=LATE, by_id=clinician)
    with pytest.raises(NothingToSignOff):
        sign_off(assignment, reason="two", at=LATE, by_id=clinician)
    assert SignOff.objects.count() == 1


def test_a_sign_off_rests_on_the_record_not_on_the_copy_in_hand(
    assignment: Assignment, clinician: int
) -> None:
    _teach_back(assignment, LATE, clinician)
    in_hand = Assignment.objects.select_related("operation").get(pk=assignment.pk)
    move(assignment.operation, OR_DATE + timedelta(days=14), at=LATE)
    with pytest.raises(NothingToSignOff):
        sign_off(in_hand, reason="for the old date", at=LATE, by_id=clinician)


def test_revoking_takes_the_sign_off_with_it(assignment: Assignment, clinician: int) -> None:
    clearance = _teach_back(assignment, LATE, clinician)
    sign_off(assignment, reason="heard her", at=LATE, by_id=clinician)
    revoke(clearance, reason="another patient", at=LATE, by_id=clinician)
    assert _said(assignment) == (Standing.LATE, (Reason.NEVER_INVITED,))
    _teach_back(assignment, LATE + timedelta(days=1), clinician)
    assert _said(assignment) == CLEARED_LATE, "the new one has to be signed off anew"


def test_a_second_revocation_returns_the_first(assignment: Assignment, clinician: int) -> None:
    clearance = _teach_back(assignment, AT, clinician)
    first = revoke(clearance, reason="one", at=AT, by_id=clinician)
    assert revoke(clearance, reason="two", at=LATE, by_id=clinician) == first
    assert Revocation.objects.get().reason == "one"


def test_a_sign_off_does_not_reach_past_the_or_date(assignment: Assignment, clinician: int) -> None:
    _teach_back(assignment, LATE, clinician)
    sign_off(assignment, reason="heard her", at=LATE, by_id=clinician)
    move(assignment.operation, date(2026, 3, 16), at=LATE)
    assert _said(assignment) == (Standing.LATE, (Reason.CLEARED_TOO_LATE, Reason.NEVER_INVITED))


def test_a_moved_date_can_make_a_clearance_too_old_and_count_again(
    assignment: Assignment, clinician: int
) -> None:
    _teach_back(assignment, AT, clinician)
    move(assignment.operation, date(2026, 6, 1), at=LATE)
    assert Reason.CLEARANCE_TOO_OLD in _said(assignment)[1]
    move(assignment.operation, OR_DATE, at=LATE)
    assert _said(assignment) == (Standing.CLEARED, (Reason.TEACH_BACK_SEEN,))


def test_a_waiver_clears_and_can_be_taken_back(assignment: Assignment, clinician: int) -> None:
    waiver = waive(assignment, reason="taught elsewhere", at=AT, by_id=clinician)
    assert _said(assignment) == (Standing.CLEARED, (Reason.WAIVED,))
    first = revoke_waiver(waiver, reason="was not", at=LATE, by_id=clinician)
    assert revoke_waiver(waiver, reason="again", at=LATE, by_id=clinician) == first
    assert WaiverRevocation.objects.count() == 1
    assert _said(assignment) == (Standing.LATE, (Reason.NEVER_INVITED,))


def test_a_waiver_is_for_one_operation(assignment: Assignment, clinician: int) -> None:
    waive(assignment, reason="taught elsewhere", at=AT, by_id=clinician)
    again = an_operation(patient=assignment.operation.patient, at=AT, or_date=OR_DATE)
    assert _said(Assignment.objects.get(operation=again))[0] == Standing.LATE


def test_no_decision_against_a_patient_without_a_reason(
    assignment: Assignment, clinician: int
) -> None:
    clearance = _teach_back(assignment, LATE, clinician)
    for act in (
        lambda: revoke(clearance, reason="", at=LATE, by_id=clinician),
        lambda: sign_off(assignment, reason="", at=LATE, by_id=clinician),
        lambda: waive(assignment, reason="", at=LATE, by_id=clinician),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            act()


def test_a_superseded_edition_takes_the_clearance_back(
    assignment: Assignment, clinician: int
) -> None:
    _teach_back(assignment, AT, clinician)
    a_short_edition(at=AT)
    assert _said(assignment)[0] == Standing.CLEARED, "a new edition alone changes nothing"
    a_short_edition(at=AT, earlier_clearances_count=False)
    assert _said(assignment) == (Standing.LATE, (Reason.EDITION_SUPERSEDED, Reason.NEVER_INVITED))
    a_short_edition(at=AT)
    assert _said(assignment)[0] == Standing.LATE, "and one more does not give it back"
