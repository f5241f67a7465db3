"""Whose submission it is: by the rule, by staff, undone; and clearance follows."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta
from threading import Barrier
from typing import Any

import pytest
import time_machine
from django.db import connection
from pytest_django import DjangoAssertNumQueries

from education.identify import (
    LATELY,
    DecidedMeanwhile,
    consider,
    identify,
    identify_again,
    identify_lately,
    leave_note,
    match,
    not_a_patient,
    undo,
)
from education.models import (
    Assignment,
    Clearance,
    IdentityDecision,
    IdentityVerdict,
    Invitation,
    Submission,
)
from education.rules.standing import Reason, Standing
from education.standings import standing_of
from education.tasks import ask_again_whose
from patients import other_names
from patients.merge import merge
from patients.models import Patient
from patients.register import correct
from patients.rules.identity import NameKind, Policy, Why
from tests.education.short_module import a_short_edition, hand_in, take
from tests.education.short_module import answer as answer_all
from tests.factories import a_patient, a_programme, an_assignment, an_invitation, an_operation
from tests.which_database import ON_POSTGRES

pytestmark = pytest.mark.django_db

AT = datetime(2026, 3, 2, 15, tzinfo=UTC)
LATER = AT + timedelta(hours=1)
TODAY = date(2026, 3, 2)
AUTOMATICALLY = IdentityVerdict.MATCHED_AUTOMATICALLY
BY_STAFF, UNDONE = IdentityVerdict.MATCHED_BY_STAFF, IdentityVerdict.UNDONE


BORN = date(1971, 8, 23)


def _ana(**facts: Any) -> Patient:
    usual: dict[str, Any] = {
        "at": AT,
        "given_names": "Ana",
        "family_names": "Ruiz",
        "birth_date": BORN,
    }
    return a_patient(**{**usual, **facts})


def _assignment(patient: Patient) -> Assignment:
    a_programme(at=AT)
    edition = a_short_edition(at=AT)
    operation = an_operation(patient=patient, at=AT)
    return an_assignment(operation=operation, module=edition.module, at=AT)


def _link(patient: Patient) -> Invitation:
    return an_invitation(assignment=_assignment(patient), at=AT)[0]


def _standing(patient: Patient) -> tuple[Standing, tuple[Reason, ...]]:
    assignment = Assignment.objects.get(operation__patient=patient)
    answer = standing_of(assignment, on=TODAY).answer
    return answer.standing, answer.reasons


def _verdicts(submission: Submission) -> list[str]:
    return list(submission.decisions.values_list("verdict", flat=True))


def test_name_and_date_of_birth_agree_and_the_patient_is_cleared() -> None:
    patient = _ana()
    submission = take(_link(patient), "11111", at=AT)
    decision = submission.decisions.get()
    assert (decision.verdict, decision.patient, decision.by_id) == (AUTOMATICALLY, patient, None)
    assert "link_agrees" in decision.reasons
    clearance = Clearance.objects.get()
    assert (clearance.patient, clearance.decision, clearance.cleared_on) == (
        patient,
        decision,
        TODAY,
    )
    assert _standing(patient) == (Standing.CLEARED, (Reason.QUIZ_PASSED,))


def test_a_failed_quiz_is_matched_and_clears_nobody() -> None:
    patient = _ana()
    submission = take(_link(patient), "11000", at=AT)
    assert _verdicts(submission) == [AUTOMATICALLY]
    assert not Clearance.objects.exists()
    assert _standing(patient)[1] == (Reason.FAILED,)


def test_another_name_is_left_to_a_person_who_matches_it(clinician: int) -> None:
    patient = _ana()
    submission = take(_link(patient), "11111", at=AT, given_names="Anita Luz")
    assert _verdicts(submission) == []
    assert Submission.objects.undecided().get() == submission
    assert _standing(patient)[1] == (Reason.IDENTITY_UNDECIDED,)

    decision = match(submission, patient, at=LATER, by_id=clinician, note="called her")
    assert (decision.verdict, decision.by_id) == (BY_STAFF, clinician)
    assert "birth_date_equal" in decision.reasons
    assert Clearance.objects.get().cleared_on == TODAY
    assert not Submission.objects.undecided().exists()
    assert _standing(patient)[0] == Standing.CLEARED


def test_a_clearance_is_dated_by_the_day_of_the_quiz_not_of_the_decision(clinician: int) -> None:
    patient = _ana()
    submission = take(_link(patient), "11111", at=AT, given_names="Luz")
    match(submission, patient, at=AT + timedelta(days=9), by_id=clinician)
    assert Clearance.objects.get().cleared_on == TODAY


def test_the_link_of_another_patient_needs_a_person() -> None:
    _ana()
    husband = a_patient(at=AT, given_names="Leo", family_names="Falk", birth_date=date(1970, 1, 5))
    attempt_by = _link(husband)
    submission = take_as(attempt_by, "Ana", "Ruiz", BORN)
    assert _verdicts(submission) == []
    assert not Clearance.objects.exists()


def take_as(link: Invitation, given_names: str, family_names: str, birth_date: date) -> Submission:
    """Pass the quiz under another name and date of birth."""
    attempt = link.attempts.create(edition=a_short_edition(at=AT), number=1, recorded_at=AT)
    answer_all(attempt, "11111", at=AT)
    return hand_in(
        attempt,
        at=AT,
        given_names=given_names,
        family_names=family_names,
        birth_date=birth_date,
    )


def test_undoing_revokes_the_clearance_and_asks_again(clinician: int) -> None:
    patient = _ana()
    submission = take(_link(patient), "11111", at=AT)
    undo(submission, at=LATER, by_id=clinician, reason="it was her sister")
    assert _verdicts(submission) == [AUTOMATICALLY, UNDONE]
    revocation = Clearance.objects.get().revocation
    assert (revocation.reason, revocation.by_id) == ("it was her sister", clinician)
    assert _standing(patient)[1] == (Reason.IDENTITY_UNDECIDED,)
    assert Submission.objects.undecided().get() == submission


def test_what_was_undone_can_be_matched_to_another(clinician: int) -> None:
    patient, sister = _ana(), _ana(birth_date=date(1973, 2, 1))
    submission = take(_link(patient), "11111", at=AT)
    undo(submission, at=LATER, by_id=clinician, reason="her sister")
    match(submission, sister, at=LATER, by_id=clinician)
    assert _verdicts(submission) == [AUTOMATICALLY, UNDONE, BY_STAFF]
    held = Clearance.objects.get(revocation__isnull=True)
    assert held.patient == sister
    assert _standing(patient)[0] != Standing.CLEARED


def test_not_a_patient_is_kept_and_can_be_undone(clinician: int) -> None:
    patient = _ana()
    submission = take(_link(patient), "11111", at=AT, given_names="Nobody")
    decision = not_a_patient(submission, at=LATER, by_id=clinician)
    assert decision.patient is None
    assert not Submission.objects.undecided().exists()
    assert not Clearance.objects.exists()
    undo(submission, at=LATER, by_id=clinician, reason="it is")
    match(submission, patient, at=LATER, by_id=clinician)
    assert _standing(patient)[0] == Standing.CLEARED


def test_two_people_decide_and_the_second_one_is_told(clinician: int) -> None:
    patient = _ana()
    submission = take(_link(patient), "11111", at=AT, given_names="Luz")
    match(submission, patient, at=LATER, by_id=clinician)
    with pytest.raises(DecidedMeanwhile):
        match(submission, patient, at=LATER, by_id=clinician)
    with pytest.raises(DecidedMeanwhile):
        not_a_patient(submission, at=LATER, by_id=clinician)
    assert Clearance.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_people_decide_at_the_same_instant_and_one_decision_stands(clinician: int) -> None:
    """Fault 10, for identity."""
    patient, sister = _ana(), _ana(birth_date=date(1973, 2, 1))
    submission = take(_link(patient), "11111", at=AT, given_names="Luz")
    together = Barrier(6)

    def decide(whose: Patient) -> bool:
        try:
            together.wait()
            match(submission, whose, at=LATER, by_id=clinician)
        except DecidedMeanwhile:
            return False
        finally:
            connection.close()
        return True

    with ThreadPoolExecutor(6) as pool:
        stood = list(pool.map(decide, [patient, sister] * 3))
    assert stood.count(True) == 1
    assert submission.decisions.count() == Clearance.objects.count() == 1


def test_nothing_in_force_cannot_be_undone(clinician: int) -> None:
    submission = take(_link(_ana()), "11111", at=AT)
    undo(submission, at=LATER, by_id=clinician, reason="a slip")
    with pytest.raises(DecidedMeanwhile):
        undo(submission, at=LATER, by_id=clinician, reason="a slip")
    assert _verdicts(submission) == [AUTOMATICALLY, UNDONE]


def test_undoing_after_the_clearance_was_revoked_keeps_the_first_reason(clinician: int) -> None:
    from_quiz = take(_link(_ana()), "11111", at=AT)
    clearance = Clearance.objects.get()
    clearance.revocation = None  # the instance in hand knows nothing of it
    undo(from_quiz, at=LATER, by_id=clinician, reason="first")
    assert Clearance.objects.get().revocation.reason == "first"


def test_what_fitted_nobody_is_shown_with_the_patient_who_was_enrolled_since() -> None:
    husband = a_patient(at=AT, given_names="Leo", family_names="Falk")
    born = date(1990, 5, 5)
    submission = take_as(_link(husband), "Quinn", "Abernathy", born)
    a_patient(at=LATER, given_names="Quinn", family_names="Abernathy", birth_date=born)
    # The link was somebody else's: never without a person, who sees now whom it fits.
    assert _verdicts(submission) == []
    best = consider(submission).candidates[0]
    assert {Why.NAME_EQUAL, Why.BIRTH_DATE_EQUAL, Why.LINK_WAS_SOMEBODY_ELSES} == set(best.reasons)


def test_a_corrected_name_lets_her_own_submission_find_her() -> None:
    patient = _ana()
    submission = take(_link(patient), "11111", at=AT, given_names="Anna")
    assert _verdicts(submission) == []
    correct(patient, at=LATER, source="call", given_names="Anna")
    assert _verdicts(submission) == [AUTOMATICALLY]
    assert _standing(patient)[0] == Standing.CLEARED


def test_another_name_lets_her_own_submission_find_her(clinician: int) -> None:
    patient = _ana()
    submission = take_as(_link(patient), "Ana", "Ferrer", BORN)
    assert _verdicts(submission) == []
    other_names.add(
        patient,
        kind=NameKind.FORMER,
        given_names="Ana",
        family_names="Ferrer",
        at=LATER,
        by_id=clinician,
        source="call",
    )
    assert _verdicts(submission) == [AUTOMATICALLY]
    assert Clearance.objects.get().patient == patient


def test_a_corrected_date_of_birth_lets_the_only_one_left_be_found() -> None:
    """Two of one name were on the date that was typed; the other one never was born on it."""
    ana, other = _ana(), _ana()
    submission = take(_link(ana), "11111", at=AT)
    assert _verdicts(submission) == []
    correct(other, at=LATER, source="call", birth_date=date(1944, 12, 30))
    assert _verdicts(submission) == [AUTOMATICALLY]
    assert Clearance.objects.get().patient == ana


def test_a_namesake_of_a_near_date_who_is_corrected_speaks_against_nobody_any_more() -> None:
    ana, other = _ana(), _ana(birth_date=date(1971, 8, 28))
    submission = take_as(_link(ana), "Ana Luz", "Ruiz", BORN)
    assert consider(submission).reasons == (Why.NAMESAKE_OF_A_NEAR_DATE,)
    correct(other, at=LATER, source="call", birth_date=date(1944, 12, 30))
    assert _verdicts(submission) == [AUTOMATICALLY]
    assert Clearance.objects.get().patient == ana


def test_nor_does_a_record_of_a_near_date_that_is_the_same_person(clinician: int) -> None:
    ana, twice = _ana(), _ana(birth_date=date(1971, 8, 28))
    submission = take_as(_link(ana), "Ana Luz", "Ruiz", BORN)
    assert _verdicts(submission) == []
    merge(ana, twice, reason="entered twice", at=LATER, by_id=clinician)
    assert _verdicts(submission) == [AUTOMATICALLY]
    assert Clearance.objects.get(merge=None).patient == ana


def test_a_merge_lets_the_one_that_two_records_were_be_found(clinician: int) -> None:
    ana, twice = _ana(), _ana()
    submission = take(_link(ana), "11111", at=AT)
    assert _verdicts(submission) == []
    merge(ana, twice, reason="entered twice", at=LATER, by_id=clinician)
    assert _verdicts(submission) == [AUTOMATICALLY]
    assert Clearance.objects.get(merge=None).patient == ana


def test_a_merged_records_date_of_birth_is_asked_about(clinician: int) -> None:
    """Typed was the date that stands on the record which the merge takes away."""
    ana = _ana(birth_date=date(1971, 8, 24))
    twice = _ana()
    submission = take_as(_link(ana), "Ana", "Ruiz", BORN)
    assert _verdicts(submission) == []
    merge(ana, twice, reason="entered twice", at=LATER, by_id=clinician)
    assert _verdicts(submission) == [AUTOMATICALLY]


@pytest.fixture
def seen_by_neither(monkeypatch: pytest.MonkeyPatch) -> Submission:
    """Handed in while her name was corrected: neither was stored when the other looked."""
    patient = _ana()
    submission = take(_link(patient), "11111", at=AT, given_names="Anna")
    monkeypatch.setattr("education.follow.identify_again", lambda *_, **__: 0)
    correct(patient, at=AT, source="call", given_names="Anna")
    assert _verdicts(submission) == []
    return submission


def test_a_quiz_of_the_last_minutes_is_asked_about_once_more(seen_by_neither: Submission) -> None:
    with time_machine.travel(AT + timedelta(minutes=1)):
        ask_again_whose()
        ask_again_whose()
    assert _verdicts(seen_by_neither) == [AUTOMATICALLY]
    assert Clearance.objects.get().cleared_on == TODAY


def test_an_older_one_is_not_nor_is_what_a_person_undid(
    seen_by_neither: Submission, clinician: int
) -> None:
    assert identify_lately(at=AT + LATELY) == 0
    match(seen_by_neither, _owner(seen_by_neither), at=AT, by_id=clinician)
    undo(seen_by_neither, at=AT, by_id=clinician, reason="not she")
    assert identify_lately(at=AT + timedelta(minutes=1)) == 0
    assert _verdicts(seen_by_neither) == [BY_STAFF, UNDONE]


def _owner(submission: Submission) -> Patient:
    return submission.attempt.invitation.assignment.operation.patient


def test_an_enrolment_that_nothing_waits_for_asks_one_question(
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    """An import enrols thousands."""
    for day in range(1, 20):
        take_as(_link(_ana()), "Quinn", "Abernathy", date(1990, 5, day))
    patient = _ana(at=LATER)
    with django_assert_num_queries(1) as asked:
        assert identify_again([patient], at=LATER, new=True) == 0
    (query,) = asked.captured_queries
    with connection.cursor() as cursor:
        if ON_POSTGRES:  # so few rows are read whole; what it could do with more is asked
            cursor.execute("SET LOCAL enable_seqscan = off")
            cursor.execute(f"EXPLAIN {query['sql']}")
            plan = [row[0] for row in cursor.fetchall()]
            assert not [step for step in plan if "Seq Scan" in step or "SubPlan" in step], plan
        else:
            cursor.execute(f"EXPLAIN QUERY PLAN {query['sql']}")
            # The ids that are asked about are a list: that is read whole, and no table is.
            plan = [row[3] for row in cursor.fetchall() if "json_each" not in row[3]]
            read_whole = [step for step in plan if step.startswith("SCAN")]
            assert read_whole == [], plan


def test_a_match_is_made_on_the_record_that_speaks_for_the_one_chosen(clinician: int) -> None:
    """The page was loaded before the merge."""
    ana, twice = _ana(), _ana(birth_date=date(1944, 12, 30))
    submission = take(_link(ana), "11111", at=AT, given_names="Luz")
    merge(ana, twice, reason="entered twice", at=LATER, by_id=clinician)
    decision = match(submission, twice, at=LATER, by_id=clinician)
    assert decision.patient == ana
    assert Clearance.objects.get().patient == ana


def test_a_note_decides_nothing(clinician: int) -> None:
    submission = take(_link(_ana()), "11111", at=AT, given_names="Luz")
    note = leave_note(submission, "no answer", at=LATER, by_id=clinician)
    assert list(submission.notes.all()) == [note]
    assert (note.text, note.by_id, note.recorded_at) == ("no answer", clinician, LATER)
    assert Submission.objects.undecided().get() == submission


def test_what_a_person_undid_is_left_to_people(clinician: int) -> None:
    submission = take(_link(_ana()), "11111", at=AT)
    undo(submission, at=LATER, by_id=clinician, reason="not she")
    assert identify_again([_ana(mrn="other", at=LATER)], at=LATER) == 0
    assert _verdicts(submission) == [AUTOMATICALLY, UNDONE]


def test_asking_the_rule_about_what_is_decided_meanwhile_changes_nothing() -> None:
    """Two enrolments at once ask about one submission; neither may fail for it."""
    submission = take(_link(_ana()), "11111", at=AT)
    assert identify(submission, at=LATER) is None
    assert _verdicts(submission) == [AUTOMATICALLY]


@pytest.mark.parametrize("policy", [Policy.NEVER, Policy.PERSONAL_LINK_ONLY])
def test_the_programmes_policy_is_obeyed(policy: Policy) -> None:
    a_programme(at=AT, matching=policy)
    submission = take(_link(_ana()), "11111", at=AT)
    matched = policy == Policy.PERSONAL_LINK_ONLY  # it was her own link
    assert bool(_verdicts(submission)) is matched
    assert Clearance.objects.exists() is matched


def test_twins_are_never_matched_without_a_person(clinician: int) -> None:
    """Fault 28: one family name and one date of birth, and one address at home."""
    ana = _ana(email="home@example.org")
    eva = a_patient(
        at=AT, given_names="Eva", family_names="Ruiz", birth_date=BORN, email="home@example.org"
    )
    submission = take(_link(ana), "11111", at=AT)
    assert _verdicts(submission) == []
    match(submission, ana, at=LATER, by_id=clinician)
    assert not Clearance.objects.filter(patient=eva).exists()


def test_one_name_and_date_of_birth_twice_is_never_matched_without_a_person() -> None:
    ana, _ = _ana(), _ana()
    submission = take(_link(ana), "11111", at=AT)
    assert not IdentityDecision.objects.exists()
    assert Submission.objects.undecided().get() == submission
