"""What follows when an email comes back, or its reader wants no more (promise B6, faults 24, 28).

Actions and status codes: RFC 3464 and RFC 3463. How long a mail system tries: RFC 5321, section
4.5.4.1.
"""

from datetime import timedelta

import pytest

from education import mail_rules
from education.addresses import end_marks, mark_of
from education.deliveries import Report, hear
from education.invite import INVITATION, REMINDER, Refusal, invite, refusal
from education.models import (
    AddressMark,
    DeliveryEvent,
    Invitation,
    Message,
    MessageState,
    ReceivedMail,
)
from education.new_message import new_message
from education.overtaken import Overtaken, known_about, overtaken
from education.reminders import gather
from education.rules.delivery import Told, Why
from education.rules.who_is_written_to import Mail
from education.send import send, sweep
from education.take_mail import BY_ADDRESS, ONE_OF_SEVERAL, take_mail
from patients import programme
from patients.clock import now
from patients.register import correct
from tests.factories import (
    a_member,
    a_patient,
    a_programme,
    an_assignment,
    an_invitation,
    an_operation,
)
from tests.what_came_back import came_back, wrote_back

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)
SENT, FAILED, AMBIGUOUS = MessageState.SENT, MessageState.FAILED, MessageState.AMBIGUOUS


def sent_to(address: str = "family@example.org") -> Message:
    """An email with a link that went out an hour ago."""
    a_programme()
    operation = an_operation(patient=a_patient(email=address))
    invitation, _ = an_invitation(assignment=an_assignment(operation=operation))
    message = Message.objects.get(invitation=invitation)
    assert send(message.pk, at=now())
    Message.objects.filter(pk=message.pk).update(sent_at=now() - HOUR)
    message.refresh_from_db()
    return message


def report(
    kind: Told, *, number: int = 1, ago: timedelta = timedelta(), status: str = ""
) -> Report:
    """A report of something that happened so long ago."""
    return Report(kind, (str(number),), "test", status=status, happened_at=now() - ago)


# the state before, what is told, the state afterwards, why nothing more goes there
FOLLOWS: list[tuple[MessageState, Told, str, MessageState, Why | None]] = [
    (SENT, Told.BOUNCED, "5.1.1", FAILED, Why.NO_MAILBOX),
    (SENT, Told.BOUNCED, "5.2.2", FAILED, Why.FULL),
    (SENT, Told.GAVE_UP, "4.4.7", FAILED, None),
    (SENT, Told.REJECTED, "", FAILED, Why.REFUSED),
    (SENT, Told.DELAYED, "4.4.1", SENT, None),
    (SENT, Told.DELIVERED, "2.1.5", SENT, None),
    (SENT, Told.COMPLAINED, "", SENT, Why.COMPLAINED),
    (SENT, Told.UNSUBSCRIBED, "", SENT, Why.UNSUBSCRIBED),
    (AMBIGUOUS, Told.DELIVERED, "", SENT, None),
    (AMBIGUOUS, Told.DELAYED, "", SENT, None),
    (AMBIGUOUS, Told.BOUNCED, "5.1.1", FAILED, Why.NO_MAILBOX),
    (FAILED, Told.DELIVERED, "", FAILED, None),
    (MessageState.WITHDRAWN, Told.BOUNCED, "5.1.1", MessageState.WITHDRAWN, Why.NO_MAILBOX),
]


def test_what_follows_from_each_report_and_twice_nothing_more() -> None:
    message, member = sent_to(), a_member("dietitian")
    for number, (state, kind, status, after, why) in enumerate(FOLLOWS):
        end_marks(message.address, reason="next row", at=now() - 2 * HOUR, by_id=member.pk)
        Message.objects.filter(pk=message.pk).update(state=state, sent_at=now() - HOUR)
        told = report(kind, number=number, status=status)
        assert [hear(told, message, at=now()) for _ in range(2)] == [True, False], kind
        message.refresh_from_db()
        mark = mark_of(message.address)
        assert (message.state, mark and mark.why) == (after, why), (state, kind)
    assert DeliveryEvent.objects.count() == len(FOLLOWS)
    assert hear(report(Told.BOUNCED, number=99), None, at=now()), "of none of ours: counted"


def test_reports_out_of_order_and_of_an_earlier_sending_change_nothing() -> None:
    message = sent_to()
    assert hear(report(Told.BOUNCED, number=1, ago=2 * HOUR), message, at=now())
    message.refresh_from_db()
    assert (message.state, mark_of(message.address)) == (SENT, None), "sent again since"
    assert hear(report(Told.BOUNCED, number=2), message, at=now())
    assert hear(report(Told.DELIVERED, number=3), message, at=now())
    message.refresh_from_db()
    assert message.state == FAILED
    end_marks(message.address, reason="a typing error", at=now(), by_id=a_member("dietitian").pk)
    assert hear(report(Told.BOUNCED, number=4, ago=HOUR / 4), message, at=now())
    assert mark_of(message.address) is None, "it was on its way before somebody tried again"
    assert hear(report(Told.BOUNCED, number=5, ago=-HOUR), message, at=now() + HOUR)
    assert mark_of(message.address) is not None


def test_fault_28_nothing_more_goes_to_an_address_whoever_has_it_until_it_changes() -> None:
    mail_rules.change(at=now(), by_id=None, invites=True)
    first, second = sent_to("Family@example.org"), sent_to("family@Example.org")
    third = sent_to("other@example.org")
    assert take_mail(came_back(first, at=now()), taken_from="x", at=now())
    assignments = [_of(one).assignment for one in (first, second, third)]
    refused = [refusal(one, at=now()) for one in assignments]
    assert refused == [Refusal.ADDRESS_MARKED, Refusal.ADDRESS_MARKED, None]
    used = programme.current()
    today = programme.local_day(now())
    mails = {case.patient: case.mail for case in gather(on=today, until=today, used=used).cases}
    assert [mails[m.patient_id] for m in (first, second) if m.patient_id] == [Mail.BLOCKED] * 2
    # What waited already is withdrawn, whatever it is; what goes elsewhere is not.
    waiting = [new_message("plan", at=now(), patient=one.patient) for one in (second, third)]
    for one in waiting:
        one.save()
        send(one.pk, at=now())
        one.refresh_from_db()
    assert waiting[0].problem == "nothing more goes to this address"
    assert waiting[1].state != MessageState.WITHDRAWN
    # Corrected: a new link goes to the new address, and the other one's mark stays.
    patient = second.patient
    assert patient
    correct(patient, at=now(), source="told us", email="new@example.org")
    assert sweep(at=now() + HOUR * 20) == 1
    assert Message.objects.latest("pk").address == "new@example.org"
    assert mark_of("FAMILY@example.org") is not None


def test_what_was_sent_by_hand_and_came_back_is_sent_anew_to_the_corrected_address() -> None:
    message = sent_to()
    assert message.patient
    take_mail(came_back(message, at=now()), taken_from="x", at=now())
    correct(message.patient, at=now(), source="told us", email="new@example.org")
    assert Message.objects.latest("pk").address == "new@example.org"
    assert Message.objects.latest("pk").purpose == INVITATION


def test_whoever_unsubscribed_gets_no_reminder_and_what_somebody_sends_by_hand() -> None:
    message = sent_to()
    hear(report(Told.UNSUBSCRIBED), message, at=now())
    assignment = _of(message).assignment
    on = programme.local_day(now())
    assert invite(assignment, at=now(), for_day=on) == Refusal.ADDRESS_MARKED
    assert invite(assignment, at=now(), for_day=on, purpose=REMINDER) == Refusal.ADDRESS_MARKED
    by_hand = invite(assignment, at=now())
    assert isinstance(by_hand, Invitation)
    assert sweep(at=now()) == 1
    hear(report(Told.COMPLAINED, number=2), message, at=now())
    assert invite(assignment, at=now()) != Refusal.ADDRESS_MARKED, "one asked for less already"


def test_an_email_without_its_id_is_known_by_its_address_and_day() -> None:
    message = sent_to()
    old = came_back(message, at=now(), by_id=False)
    Message.objects.update(sent_at=now() - timedelta(days=7))
    assert take_mail(old, taken_from="x", at=now())
    assert mark_of(message.address) is None, "a week ago: no mail system tells so late"
    Message.objects.update(sent_at=now() - timedelta(days=4))
    new = came_back(message, at=now(), by_id=False, number=2)
    assert take_mail(new, taken_from="x", at=now())
    assert mark_of(message.address) is not None
    assert DeliveryEvent.objects.latest("pk").source == BY_ADDRESS


def test_fault_28_of_a_shared_address_nobody_says_whose_email_came_back() -> None:
    """Both are in doubt, for a person to decide; nothing more goes to the address meanwhile."""
    first = sent_to()
    assert first.patient
    second = sent_to(first.address.upper())
    assert take_mail(came_back(first, at=now(), by_id=False), taken_from="x", at=now())
    for one in (first, second):
        one.refresh_from_db()
        assert (one.state, one.delivery_events.get().source) == (AMBIGUOUS, ONE_OF_SEVERAL)
        assert "one of several" in one.problem
    assert mark_of(first.address) is not None
    assert AddressMark.objects.count() == 1
    # That one of several arrived says of none that it did.
    arrived = came_back(first, "2.0.0", at=now(), by_id=False, action="delivered", number=2)
    assert take_mail(arrived, taken_from="x", at=now())
    first.refresh_from_db()
    assert first.state == AMBIGUOUS


def test_an_answer_changes_nothing_and_staffs_own_email_marks_no_address() -> None:
    message = sent_to()
    assert take_mail(wrote_back(message, "STOP writing"), taken_from="x", at=now())
    digest = new_message("digest", at=now(), address=message.address, language="en")
    digest.state, digest.sent_at = SENT, now()
    digest.save()
    assert take_mail(came_back(digest, at=now()), taken_from="x", at=now())
    message.refresh_from_db()
    digest.refresh_from_db()
    assert (message.state, digest.state) == (SENT, FAILED)
    assert not AddressMark.objects.exists()
    assert ReceivedMail.objects.to_look_at().get().text == "STOP writing"


def test_staff_get_theirs_where_a_patients_email_came_back_from_the_same_address() -> None:
    """Both are claimed and looked at in one go."""
    message = sent_to()
    assert take_mail(came_back(message, at=now()), taken_from="x", at=now())
    message.refresh_from_db()
    digest = new_message("digest", at=now(), address=message.address, language="en")
    known = known_about([message, digest])
    assert overtaken(message, known, at=now()) == Overtaken.ADDRESS_MARKED
    assert overtaken(digest, known, at=now()) is None


def _of(message: Message) -> Invitation:
    assert message.invitation
    return message.invitation
