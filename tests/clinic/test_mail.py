"""The programme's mail: its page, holding it, what is in doubt, its rules, its words (B6, W10)."""

from datetime import timedelta
from io import StringIO
from typing import Any

import pytest
from django.core import mail as outbox
from django.core.management import call_command
from django.db import DatabaseError, transaction
from django.urls import reverse

from clinic.models import Role, TrailEntry
from clinic.once import new_key
from clinic.settings import BASE_DIR
from clinic.views.mail import EMAILS
from education import email_words, mail_hold, mail_rules
from education.emails import preview_of
from education.models import (
    AddressMark,
    EmailText,
    MailboxLook,
    MailDecision,
    MailHold,
    MailRules,
    Message,
    MessageState,
)
from education.reminders import remind
from education.rules.may_be_mailed import Fault, objections
from education.rules.who_is_written_to import ReminderRule
from education.send import send, sweep
from education.take_mail import take_mail
from patients import programme
from patients.clock import now
from patients.schedule import change
from tests.education.rules.test_incoming_mail import nested
from tests.factories import (
    a_patient,
    a_programme,
    an_assignment,
    an_invitation,
    an_operation,
    signed_in,
)
from tests.what_came_back import came_back, wrote_back

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)


def a_message(state: str = "waiting", **said: Any) -> Message:
    """An email with a link, in some state."""
    invitation, _ = an_invitation(assignment=an_assignment(operation=an_operation()))
    Message.objects.filter(invitation=invitation).update(state=state, **said)
    return Message.objects.get(invitation=invitation)


def press(role: str, address: str, **typed: Any) -> Any:
    """Send a form of a page."""
    return signed_in(role).post(address, {"act_key": new_key(), **typed}, follow=True)


# --- the page -------------------------------------------------------------------------------------


def test_it_says_what_failed_and_why_what_waits_and_what_is_in_doubt() -> None:
    failed = a_message("failed", problem="refused by the mail server (550)")
    doubt = a_message("ambiguous", problem="no answer to the text (TimeoutError)")
    waiting = a_message()
    client = signed_in(Role.COORDINATOR)
    page = client.get(reverse("mail")).content.decode()
    for one in (failed, doubt):
        assert one.address in page
        assert one.problem in page
    assert waiting.address not in page
    assert "Send again" not in page, "a coordinator reads only"
    assert waiting.address in client.get(reverse("mail") + "?show=waiting").content.decode()
    assert "No email failed" in _empty_page()


def test_fault_23_after_a_restore_nothing_leaves_until_a_person_releases_it() -> None:
    """What the backup takes for waiting may have gone out since it was made."""
    message = a_message()
    call_command("hold_mail", "Restored from last night's backup", stdout=StringIO())
    assert sweep(at=now() + DAY) == 0
    assert not send(message.pk, at=now() + DAY)
    page = signed_in(Role.DIETITIAN).get(reverse("mail")).content.decode()
    assert "Restored from last night" in page
    press(Role.DIETITIAN, reverse("mail-held"), reason="Looked through", release="1")
    assert sweep(at=now() + DAY) == 1


def _empty_page() -> str:
    Message.objects.update(state="sent", sent_at=now())
    return str(signed_in(Role.DIETITIAN).get(reverse("mail")).content.decode())


def test_after_a_hold_nothing_leaves_and_the_pages_say_so_in_one_line() -> None:
    message = a_message()
    press(Role.DIETITIAN, reverse("mail-held"), reason="A wrong telephone number in it")
    assert sweep(at=now() + DAY) == 0
    assert not send(message.pk, at=now() + DAY)
    for name in ("mail", "morning"):
        page = signed_in(Role.DIETITIAN).get(reverse(name)).content.decode()
        assert page.count("All mail is held: nothing goes out.") == 1, name
    press(Role.ADMINISTRATOR, reverse("mail-held"), reason="Put right", release="1")
    assert sweep(at=now() + DAY) == 1
    assert [(h.held, h.reason) for h in MailHold.objects.all()] == [
        (True, "A wrong telephone number in it"),
        (False, "Put right"),
    ]
    with pytest.raises(DatabaseError), transaction.atomic():
        MailHold.objects.all().delete()


def test_a_hold_needs_a_reason() -> None:
    a_programme()
    answer = press(Role.DIETITIAN, reverse("mail-held"), reason=" ")
    assert answer.status_code == 400
    assert mail_hold.in_force() is None


@pytest.mark.parametrize("state", ["failed", "ambiguous"])
def test_sent_again_it_keeps_its_message_id(state: str) -> None:
    message = a_message(state, problem="x", tries=6)
    press(Role.DIETITIAN, reverse("mail-decided", args=[message.pk]), verdict="send_again")
    assert send(message.pk, at=now())
    assert outbox.outbox[0].extra_headers["Message-ID"] == message.message_id
    assert MailDecision.objects.get().verdict == "send_again"


def test_what_is_in_doubt_may_be_taken_as_sent_and_what_failed_may_not() -> None:
    doubt, failed = a_message("ambiguous"), a_message("failed")
    for one in (doubt, failed):
        press(Role.CLINICIAN, reverse("mail-decided", args=[one.pk]), verdict="take_as_sent")
        one.refresh_from_db()
    assert (doubt.state, failed.state) == (MessageState.SENT, MessageState.FAILED)


def test_what_events_overtook_is_not_sent_again() -> None:
    message = a_message("failed")
    assert message.invitation
    change(message.invitation.assignment.operation, at=now(), booking="cancelled")
    page = press(Role.DIETITIAN, reverse("mail-decided", args=[message.pk]), verdict="send_again")
    assert "Not sent again: its link does not work any more." in page.content.decode()
    message.refresh_from_db()
    assert message.state == MessageState.FAILED


def test_a_reminder_that_failed_is_on_the_morning_list_until_the_link_is_sent_anew() -> None:
    message = a_message("sent", sent_at=now() - DAY)
    invitation = message.invitation
    assert invitation
    assignment = invitation.assignment
    assert remind(assignment, invitation, ReminderRule(10), at=now(), on=programme.local_day(now()))
    Message.objects.filter(reminds=invitation).update(state="failed")
    client = signed_in(Role.DIETITIAN)
    page = client.get(reverse("morning") + "?mail=failed").content.decode()
    assert "email failed" in page
    assert assignment.operation.patient.full_name in page
    an_invitation(assignment=assignment)
    page = client.get(reverse("morning") + "?mail=failed").content.decode()
    assert assignment.operation.patient.full_name not in page


# --- the rules and their preview ------------------------------------------------------------------

RULES = {
    "quiet_until": "08:00",
    "quiet_from": "20:00",
    "weekly_cap": "3",
    "closing_days": "2027-11-26 Day after Thanksgiving",
    "federal_holidays": "on",
    "reminder-TOTAL_FORMS": "2",
    "reminder-INITIAL_FORMS": "0",
    "reminder-0-number": "10",
    "reminder-0-side": "before",
    "reminder-0-standings": ["due", "not_due"],
    "reminder-0-how_far": ["not_opened"],
}


def test_the_preview_says_who_before_anything_is_saved() -> None:
    message = a_message()
    assert message.invitation
    assert message.patient
    change(
        message.invitation.assignment.operation,
        at=now(),
        or_date=programme.local_day(now()) + timedelta(days=24),  # clear by in 17 days
    )
    Message.objects.update(state="sent", sent_at=now() - DAY)
    page = press(Role.DIETITIAN, reverse("reminders"), **RULES, preview="1").content.decode()
    assert "Reminder 10 days before the clear-by date" in page
    assert "0 today, 1 in two weeks." in page
    assert message.patient.full_name in page
    assert not MailRules.objects.exists()
    press(Role.DIETITIAN, reverse("reminders"), **RULES, save="1")
    rules = mail_rules.current()
    assert [r.days_before for r in mail_rules.reminders_in(rules.reminders)] == [10]
    assert rules.closing_days == [["2027-11-26", "Day after Thanksgiving"]]


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"closing_days": "26/11/2027"}, "Line 1 is not a date like 2027-11-26"),
        ({"quiet_from": "07:00"}, "later than the time to send from"),
        ({"reminder-0-how_far": []}, "Tick at least one."),
        ({"reminder-0-standings": ["late"]}, "Nobody is late before the clear-by date."),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_saved(typed: dict[str, Any], said: str) -> None:
    a_programme()
    answer = press(Role.ADMINISTRATOR, reverse("reminders"), **{**RULES, **typed}, save="1")
    assert answer.status_code == 400
    assert said in answer.content.decode()
    assert not MailRules.objects.exists()


# --- the words of an email ------------------------------------------------------------------------

WORDS = {
    "subject": "Your link is here",
    "before": "Good day,\n\nhere it is.",
    "after": "Thank you.",
}
ADDRESS = "/mail/texts/invitation/en/"


def test_own_words_go_out_with_every_protected_part_and_back_to_the_original() -> None:
    a_programme()
    press(Role.DIETITIAN, ADDRESS, **WORDS, save="1")
    message = a_message()
    assert send(message.pk, at=now())
    sent = outbox.outbox[0]
    assert sent.subject == "Your link is here"
    for part in ("Good day,", "/q/", "We never ask for a password", "(312) 555-0142", "911"):
        assert part in sent.body, part
    press(Role.DIETITIAN, ADDRESS, restore="1")
    assert email_words.in_force("invitation", "en") == email_words.original("invitation", "en")
    assert EmailText.objects.count() == 2, "the earlier words stay on record"


def test_a_preview_saves_nothing_and_bad_words_are_refused_beside_their_field() -> None:
    a_programme()
    page = press(Role.DIETITIAN, ADDRESS, **WORDS, preview="1").content.decode()
    assert "here it is." in page
    refused = press(
        Role.DIETITIAN, ADDRESS, **{**WORDS, "subject": "Your weight operation"}, save="1"
    )
    assert refused.status_code == 400
    assert "may not say “weight”" in refused.content.decode()
    assert not EmailText.objects.exists()


@pytest.mark.parametrize(
    ("subject", "before", "after", "fault"),
    [
        ("Your surgery", "Hello", "", Fault.HEALTH_WORD),
        ("Su enlace", "Hola, su cirugía se acerca.", "", Fault.HEALTH_WORD),
        ("Link", "Hello", "See www.example.org", Fault.ANOTHER_ADDRESS),
        ("Link", "Hello {{ name }}", "", Fault.MARKUP),
        ("Link", "Hello [name]", "", Fault.MARKUP),
        ("Link", "", "", Fault.EMPTY),
        ("", "Hello", "", Fault.EMPTY),
        ("x" * 79, "Hello", "", Fault.SUBJECT_TOO_LONG),
        ("Link\nBcc: x", "Hello", "", Fault.SUBJECT_TOO_LONG),
        ("Link", "Hello", "one " * 21 + ".", Fault.LONG_SENTENCE),
        ("Link", "Hello. " * 121, "", Fault.TOO_MANY_WORDS),
    ],
)
def test_w10_what_speaks_against_words(subject: str, before: str, after: str, fault: Fault) -> None:
    found = objections(subject, before, after, whole=f"{before} {after}")
    assert {one.fault for one in found} == {fault}


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("name", email_words.EDITABLE)
def test_w10_nothing_speaks_against_the_original_words(name: str, language: str) -> None:
    a_programme()
    words = email_words.original(name, language)
    _, whole, _ = preview_of(name, language, words)
    assert objections(words.subject, words.before, words.after, whole=whole) == []


STAFFS = {"digest", "look_again"}
PROTECTED = ("/q/your-personal-link/", "(312) 555-0142", "911")


def test_every_email_to_patients_can_be_written_anew_and_keeps_what_it_has_to_say() -> None:
    a_programme()
    folders = {path.parent.name for path in (BASE_DIR / "templates/emails").glob("*/body.txt")}
    assert folders - STAFFS == set(email_words.EDITABLE) == set(EMAILS)
    own = email_words.Words("Subject", "First.", "Last.")
    for name in email_words.EDITABLE:
        for language, never in (("en", "We never ask for a"), ("es", "Nunca pedimos")):
            subject, text, html = preview_of(name, language, own)
            assert subject == "Subject"
            for part in (*PROTECTED, never, "First.", "Last."):
                assert part in text, (name, language, part)
                assert part in html, (name, language, part)
    # Of a plan that does not hold any more, whatever the programme's words are.
    _, text, html = preview_of("plan_moved", "en", own)
    for part in ("do not hold any more", "Throw away any older copy"):
        assert part in text
        assert part in html


# --- what came back -------------------------------------------------------------------------------


def test_b6_what_came_back_is_on_the_list_with_the_telephone_and_what_to_do_next() -> None:
    """Who is not due is there too; a family's address shows for each of them (fault 28)."""
    message = a_message("sent", sent_at=now() - DAY)
    assert message.patient
    patient, dietitian = message.patient, signed_in(Role.DIETITIAN)
    sister = an_operation(patient=a_patient(email=patient.email.upper()), days_ahead=300).patient
    assert take_mail(came_back(message, at=now()), taken_from="x", at=now())
    morning = dietitian.get(reverse("morning")).content.decode()
    record = dietitian.get(reverse("patient", args=[sister.pk])).content.decode()
    listed = dietitian.get(reverse("mail") + "?show=addresses").content.decode()
    for page in (morning, record, listed):
        assert "there is no such mailbox" in page
        assert "5.1.1; 550 5.1.1 no such user here" in page
        assert f'href="tel:{sister.phone}"' in page
        assert "ask for the right address" in page
        assert "Correct the address" in page
        assert patient.full_name in page
    assert f'href="tel:{patient.phone}"' in morning
    assert "No email reaches 2 patients: call" in morning
    failed = dietitian.get(reverse("morning") + "?mail=failed").content.decode()
    assert "no email goes to the address on file" in failed
    assert "Call, then log it" in failed
    # Sent again it is refused, tried again it goes out anew, and both are on record.
    page = press(Role.DIETITIAN, reverse("mail-decided", args=[message.pk]), verdict="send_again")
    assert "Not sent again: nothing more goes to this address." in page.content.decode()
    again = reverse("mail-try-again", args=[AddressMark.objects.get().pk])
    assert "Say why" in press(Role.DIETITIAN, again, reason=" ").content.decode()
    page = press(Role.DIETITIAN, again, reason="They emptied it")
    assert "1 link goes out anew." in page.content.decode()
    assert "settled meanwhile" in press(Role.DIETITIAN, again, reason="x").content.decode()
    assert sweep(at=now()) == 1
    history = dietitian.get(reverse("patient", args=[patient.pk])).content.decode()
    for said in ("email came back", "nothing more goes to the address", "They emptied it"):
        assert said in history
    assert "No email goes to" not in history


def test_an_answer_is_for_staff_to_read_is_never_markup_and_is_dealt_with_once() -> None:
    message = a_message("sent", sent_at=now() - DAY)
    assert message.patient
    text = "<script>alert(1)</script> Please ring me"
    raw = wrote_back(message, text, subject="=?utf-8?q?Re=3A_=3Cb=3Ehola?=")
    answer = take_mail(raw, taken_from="INBOX; UID 7", at=now())
    parked = take_mail(nested(100), taken_from="INBOX; UID 8", at=now())
    assert answer
    assert parked
    client = signed_in(Role.DIETITIAN)
    assert "2 mails came back" in client.get(reverse("morning")).content.decode()
    page = client.get(reverse("mail") + "?show=answers").content.decode()
    assert "&lt;script&gt;alert(1)&lt;/script&gt; Please ring me" in page
    assert "Re: &lt;b&gt;hola" in page
    assert "It answers an email to" in page
    assert "Why: more than 60 parts." in page
    read = TrailEntry.objects.filter(act="GET mail", patient_id=message.patient.pk)
    assert read.exists(), "who read it stands in the trail"
    press(Role.CLINICIAN, reverse("mail-answer", args=[answer.pk]), settled="1")
    page = client.get(reverse("mail") + "?show=answers").content.decode()
    assert "Please ring me" not in page
    assert (
        "Please ring me" in client.get(reverse("mail") + "?show=answers&settled=1").content.decode()
    )
    press(Role.CLINICIAN, reverse("mail-answer", args=[answer.pk]), settled="0")
    assert "Please ring me" in client.get(reverse("mail") + "?show=answers").content.decode()
    # A machine's reply is shown as what it is: nobody has to look at it, and it counts nowhere.
    away = wrote_back(message, "I am away", subject="<i>Out of office", automatic=True)
    assert take_mail(away, taken_from="INBOX; UID 9", at=now())
    page = client.get(reverse("mail") + "?show=answers").content.decode()
    assert "&lt;i&gt;Out of office" in page.split("Automatic replies")[1]
    assert "Wrote back (2)" in page
    history = client.get(reverse("patient", args=[message.patient.pk])).content.decode()
    assert "automatic reply to an email, written by nobody" in history


def test_whoever_wants_no_more_emails_is_called_instead_by_one_press() -> None:
    message = a_message("sent", sent_at=now() - DAY)
    patient = message.patient
    assert patient
    assert take_mail(wrote_back(message, "STOP"), taken_from="INBOX; UID 1", at=now())
    stop = reverse("mail-by-phone", args=[patient.pk])
    for show in ("answers", "sent"):
        page = signed_in(Role.CLINICIAN).get(reverse("mail") + f"?show={show}").content.decode()
        assert f'action="{stop}"' in page
    page = press(Role.CLINICIAN, stop).content.decode()
    assert f"call {patient.full_name}" in page
    listed = signed_in(Role.DIETITIAN).get(reverse("mail") + "?show=addresses").content.decode()
    assert "asked for no more emails" in listed
    assert "said to" in listed
    assert "Try this address again" in listed
    message.refresh_from_db()
    assert message.state == "sent", "that one arrived"
    # Who has no address is called anyway, and whoever was never written to has one to correct.
    other = an_operation(patient=a_patient(email=""), days_ahead=300).patient
    Message.objects.update(address="staff@example.org")  # an email to staff about them
    page = signed_in(Role.CLINICIAN).get(reverse("mail") + "?show=sent").content.decode()
    assert stop not in page
    page = press(Role.CLINICIAN, reverse("mail-by-phone", args=[other.pk])).content.decode()
    assert "Nothing was changed" in page


def test_a_mailbox_that_cannot_be_read_is_said_on_the_mail_page() -> None:
    a_programme()
    MailboxLook.objects.create(name="x", looked_at=now(), read_at=now() - DAY, problem="OSError")
    page = signed_in(Role.COORDINATOR).get(reverse("mail")).content.decode()
    assert "The mailbox cannot be read" in page
