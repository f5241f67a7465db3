"""Help to reach a patient is asked of the surgeon's office, and ends, with each contact."""

import pytest

from education.clear import clear_by_teach_back
from education.escalate import open_escalations
from education.identify import match
from education.models import Escalation, EscalationEnd
from education.rules.escalation import EscalationEnded
from patients import programme
from patients.clock import now
from patients.contact import AlreadyCorrected, Instead, correct_contact, log_contact
from patients.models import Booking, Contact, Means, Outcome, Patient
from patients.schedule import change
from tests.factories import a_member, a_submission, an_assignment, an_invitation

pytestmark = pytest.mark.django_db

MESSAGE, REACHED = Outcome.LEFT_A_MESSAGE, Outcome.REACHED


def test_two_messages_without_an_answer_and_every_way_out() -> None:
    by = a_member("dietitian").pk
    assignment = an_assignment()
    patient = assignment.operation.patient

    def call(outcome: Outcome) -> Contact:
        return log_contact(patient, means=Means.CALL, outcome=outcome, at=now(), by_id=by)

    def asked() -> bool:
        return patient.pk in open_escalations([patient.pk])

    def ended() -> str:
        return EscalationEnd.objects.order_by("-id")[0].because

    first = call(MESSAGE)
    call(Outcome.NO_ANSWER)
    assert not asked()
    second = call(MESSAGE)
    assert asked()
    assert Escalation.objects.get().contact == second
    call(MESSAGE)
    assert Escalation.objects.count() == 1  # asked once
    call(REACHED)
    assert (asked(), ended()) == (False, EscalationEnded.REACHED)

    # A message that was none: the later row says so, and the help is not needed for that reason.
    call(MESSAGE)
    third = call(MESSAGE)
    assert asked()
    no_answer = Instead(Means.CALL, Outcome.NO_ANSWER)
    made = correct_contact(third, instead=no_answer, reason="slip", at=now(), by_id=by)
    assert (asked(), ended()) == (False, EscalationEnded.CORRECTED)
    assert made.instead is not None
    assert made.instead.at == third.recorded_at  # it was made when it was made
    with pytest.raises(AlreadyCorrected):
        correct_contact(third, instead=None, reason="again", at=now(), by_id=by)
    assert first.outcome == MESSAGE  # what stood before stays on record

    call(MESSAGE)
    assert asked()
    change(assignment.operation, at=now(), reason="x", by_id=by, booking=Booking.CANCELLED)
    assert (asked(), ended()) == (False, EscalationEnded.NOT_WAITING)


def test_a_failed_quiz_ends_it_once_it_is_known_to_be_theirs() -> None:
    by = a_member("dietitian").pk
    invitation, _ = an_invitation()
    patient = invitation.assignment.operation.patient
    for _ in range(2):
        log_contact(patient, means=Means.CALL, outcome=MESSAGE, at=now(), by_id=by)
    handed_in = a_submission(invitation, wrong=9, given_names="Somebody", family_names="Other")
    assert not handed_in.passed
    assert patient.pk in open_escalations([patient.pk]), "anybody may have typed that"
    match(handed_in, patient, at=now(), by_id=by)
    assert EscalationEnd.objects.get().because == EscalationEnded.HANDED_IN
    log_contact(patient, means=Means.CALL, outcome=MESSAGE, at=now(), by_id=by)
    assert Escalation.objects.count() == 1, "messages are counted anew"


def test_a_clearance_ends_it_and_a_programme_may_do_without() -> None:
    by = a_member("dietitian").pk
    assignment = an_assignment()
    patient = Patient.objects.get()
    for _ in range(2):
        log_contact(patient, means=Means.CALL, outcome=MESSAGE, at=now(), by_id=by)
    assert Escalation.objects.count() == 1
    clearance = clear_by_teach_back(patient, assignment.module, at=now(), by_id=by, note="x")
    assert EscalationEnd.objects.get().because == EscalationEnded.CLEARED
    assert clearance.patient == patient

    programme.change(at=now(), by_id=by, escalates=False)
    other = an_assignment(opens_days=-61).operation.patient
    for _ in range(3):
        log_contact(other, means=Means.CALL, outcome=MESSAGE, at=now(), by_id=by)
    assert Escalation.objects.count() == 1
