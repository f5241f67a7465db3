"""Whoever confirmed an OR date is told when what it rested on is revoked, and nobody else is."""

import email
import email.policy
import re
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from email.message import EmailMessage
from pathlib import Path
from threading import Barrier

import pytest
from django.core import mail
from django.db import connection, transaction
from django.test import override_settings
from django.urls import reverse
from pytest_django import Settings

from clinic.alarms import LOOK_AGAIN, LOOK_AGAIN_ALL, PURPOSES
from clinic.confirm import AnswerChanged, answer, confirm
from clinic.look_again import look_at_everything, resting_on
from clinic.models import StaffUser
from clinic.once import new_key
from clinic.unsettled import Change, unsettled
from education import clear, identify
from education.assign import require
from education.models import Assignment, Clearance, Message, MessageState, Revocation
from education.rules.reading import sentences
from education.send import send
from patients.clock import now
from patients.merge import merge, undo_merge
from patients.models import Booking, Operation
from patients.schedule import change, move
from tests.education.test_emails import HEALTH_WORDS, PREVIEW, body
from tests.factories import (
    PLAIN,
    a_member,
    a_patient,
    a_submission,
    an_assignment,
    an_edition,
    an_invitation,
    an_operation,
    signed_in,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def coordinator() -> StaffUser:
    return a_member("coordinator", name="Rosalind Achterberg", email="rosalind@larkfield.example")


@pytest.fixture
def dietitian() -> StaffUser:
    return a_member("dietitian", name="Imogen Tallis")


@pytest.fixture
def assignment() -> Assignment:
    patient = a_patient(given_names="Quilla", family_names="Vandersloot", mrn="KX-77")
    return an_assignment(operation=an_operation(patient=patient))


def cleared_by_quiz(assignment: Assignment) -> Clearance:
    invitation, _ = an_invitation(assignment=assignment)
    return a_submission(invitation).decisions.get().clearance


def cleared_by_teach_back(assignment: Assignment, by: StaffUser) -> Clearance:
    patient = assignment.operation.patient
    return clear.clear_by_teach_back(patient, assignment.module, at=now(), by_id=by.pk, note="all")


def confirmed(assignment: Assignment, by: StaffUser, *, clinician: str = "") -> Operation:
    operation = Operation.objects.get(pk=assignment.operation_id)
    at = now()
    seen = answer(operation, at=at).seen
    reason = "It cannot wait." if clinician else ""
    confirm(operation, seen=seen, at=at, by=by, clinician=clinician, clinician_reason=reason)
    return operation


def revoke(clearance: Clearance, by: StaffUser) -> None:
    clear.revoke(clearance, reason="It was her sister.", at=now(), by_id=by.pk)


def told() -> list[str]:
    return list(Message.objects.filter(purpose__in=PURPOSES).values_list("address", flat=True))


def test_undoing_tells_whoever_confirmed_on_it(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    clearance = cleared_by_quiz(assignment)
    confirmed(assignment, coordinator)
    submission = clearance.decision.submission  # type: ignore[union-attr]
    identify.undo(submission, at=now(), by_id=dietitian.pk, reason="Her sister took it.")
    message = Message.objects.get(purpose=LOOK_AGAIN)
    assert (message.address, message.state) == (coordinator.email, MessageState.WAITING)
    assert message.patient == assignment.operation.patient
    assert Revocation.objects.get().reason == "Her sister took it."


def test_so_does_a_revocation_by_hand_once(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    """Twice revoked, told once."""
    clearance = cleared_by_teach_back(assignment, dietitian)
    confirmed(assignment, coordinator)
    revoke(clearance, dietitian)
    revoke(clearance, dietitian)
    assert told() == [coordinator.email]


def test_the_email_is_committed_with_the_revocation_or_not_at_all(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    """Promise B2."""
    clearance = cleared_by_teach_back(assignment, dietitian)
    confirmed(assignment, coordinator)
    with transaction.atomic():
        revoke(clearance, dietitian)
        assert told() == [coordinator.email]
        transaction.set_rollback(True)
    assert told() == []
    assert not Revocation.objects.exists()


def test_one_who_confirmed_two_operations_on_it_gets_one_email(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    patient = assignment.operation.patient
    second = an_assignment(operation=an_operation(patient=patient, days_ahead=22))
    clearance = cleared_by_teach_back(assignment, dietitian)
    confirmed(assignment, coordinator)
    confirmed(second, coordinator)
    assert len(resting_on([clearance], at=now())) == 2
    revoke(clearance, dietitian)
    assert told() == [coordinator.email]


def test_two_who_confirmed_are_both_told(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    clinician = a_member("clinician")
    patient = assignment.operation.patient
    second = an_assignment(operation=an_operation(patient=patient, days_ahead=22))
    clearance = cleared_by_teach_back(assignment, dietitian)
    confirmed(assignment, coordinator)
    confirmed(second, clinician)
    revoke(clearance, dietitian)
    assert sorted(told()) == sorted([coordinator.email, clinician.email])


def test_confirmed_anew_on_a_new_clearance_is_told_anew(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    first = cleared_by_teach_back(assignment, dietitian)
    confirmed(assignment, coordinator)
    revoke(first, dietitian)
    second = cleared_by_teach_back(assignment, dietitian)
    revoke(second, dietitian)  # it stands confirmed still, and had become clear again
    assert told() == [coordinator.email] * 2


def test_after_a_merge_undoing_tells_who_confirmed_on_what_was_carried(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    """The quiz was the other record's; the OR date was confirmed on the record that was kept."""
    kept = assignment.operation.patient
    other = an_assignment(operation=an_operation(days_ahead=22))
    clearance = cleared_by_quiz(other)
    merge(kept, other.operation.patient, reason="Entered twice.", at=now(), by_id=dietitian.pk)
    confirmed(assignment, coordinator)
    submission = clearance.decision.submission  # type: ignore[union-attr]
    html = signed_in(dietitian).get(reverse("undo-identity", args=[submission.pk]))
    assert "Rosalind Achterberg will be told" in html.content.decode()
    identify.undo(submission, at=now(), by_id=dietitian.pk, reason="Her sister took it.")
    assert told() == [coordinator.email]
    assert Revocation.objects.count() == Clearance.objects.count() == 2


def other_record(assignment: Assignment) -> Assignment:
    """The same module for another record's operation, two days later."""
    return an_assignment(operation=an_operation(days_ahead=22), module=assignment.module)


def test_undoing_a_merge_tells_who_confirmed_on_what_it_had_carried(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    other = other_record(assignment)
    cleared_by_teach_back(other, dietitian)
    kept, merged = assignment.operation.patient, other.operation.patient
    done = merge(kept, merged, reason="Entered twice.", at=now(), by_id=dietitian.pk)
    confirmed(assignment, coordinator)
    confirmed(other, dietitian)
    page = signed_in(dietitian).get(reverse("undo-merge", args=[done.pk])).content.decode()
    assert page.count("An OR date confirmed on it:") == 1
    assert f"{coordinator.name} will be told" in page
    undo_merge(done, reason="Two cousins.", at=now(), by_id=dietitian.pk)
    assert told() == [coordinator.email], "the other one is clear with what it has itself"
    at = now()
    assert [u.change for u in unsettled(at=at)] == [Change.NO_LONGER_CLEAR]
    assert [u.given.operation for u in unsettled(at=at)] == [assignment.operation]


def test_undoing_a_merge_tells_who_confirmed_what_goes_back_uncleared(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    """The clearance was the kept record's; the operation that rested on it goes back."""
    other = other_record(assignment)
    cleared_by_teach_back(assignment, dietitian)
    kept, merged = assignment.operation.patient, other.operation.patient
    done = merge(kept, merged, reason="Entered twice.", at=now(), by_id=dietitian.pk)
    confirmed(assignment, dietitian)
    confirmed(other, coordinator)
    undo_merge(done, reason="Two cousins.", at=now(), by_id=dietitian.pk)
    assert told() == [coordinator.email]
    assert [u.given.operation for u in unsettled(at=now())] == [other.operation]


def test_undoing_a_merge_tells_nobody_who_confirmed_before_it(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    other = other_record(assignment)
    for one in (assignment, other):
        cleared_by_teach_back(one, dietitian)
        confirmed(one, coordinator)
    kept, merged = assignment.operation.patient, other.operation.patient
    done = merge(kept, merged, reason="Entered twice.", at=now(), by_id=dietitian.pk)
    assert unsettled(at=now()) == []
    undo_merge(done, reason="Two cousins.", at=now(), by_id=dietitian.pk)
    assert told() == []
    assert unsettled(at=now()) == []


@pytest.mark.django_db(transaction=True)
def test_confirming_while_it_is_revoked_is_told_or_refused(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    """Fault 10: nobody holds a confirmation of what was revoked at the same instant unknowingly."""
    for _ in range(6):
        clearance = cleared_by_teach_back(assignment, dietitian)
        operation = Operation.objects.get(pk=assignment.operation_id)
        before = Message.objects.filter(purpose=LOOK_AGAIN).count()
        seen = answer(operation, at=now()).seen
        together = Barrier(2)

        def confirms(operation: Operation, seen: str, together: Barrier) -> bool:
            try:
                together.wait()
                confirm(operation, seen=seen, at=now(), by=coordinator)
            except AnswerChanged:
                return False
            finally:
                connection.close()
            return True

        def revokes(clearance: Clearance, together: Barrier) -> None:
            try:
                together.wait()
                revoke(clearance, dietitian)
            finally:
                connection.close()

        with ThreadPoolExecutor(2) as pool:
            confirming = pool.submit(confirms, operation, seen, together)
            pool.submit(revokes, clearance, together).result()
        sent = Message.objects.filter(purpose=LOOK_AGAIN).count() - before
        assert sent == confirming.result()
        change(operation, at=now(), booking=Booking.PROPOSED)


# --- nobody is told ------------------------------------------------------------------------------


def test_not_while_another_clearance_holds(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    first = cleared_by_teach_back(assignment, dietitian)
    second = cleared_by_teach_back(assignment, dietitian)
    confirmed(assignment, coordinator)
    revoke(first, dietitian)
    assert told() == []
    revoke(second, dietitian)
    assert told() == [coordinator.email]


def test_not_who_confirmed_another_date(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    clearance = cleared_by_teach_back(assignment, dietitian)
    operation = confirmed(assignment, coordinator)
    move(operation, (operation.or_date or date.max) + timedelta(days=1), at=now())
    assert told() == [coordinator.email], "for the move"
    revoke(clearance, dietitian)
    assert told() == [coordinator.email], "and not again for what that date does not rest on"


@pytest.mark.parametrize("booking", [Booking.ON_HOLD, Booking.CANCELLED, Booking.DONE])
def test_not_once_it_is_settled(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser, booking: Booking
) -> None:
    clearance = cleared_by_teach_back(assignment, dietitian)
    operation = confirmed(assignment, coordinator)
    change(operation, at=now(), booking=booking)
    revoke(clearance, dietitian)
    assert told() == []


def test_not_for_what_a_clinician_accepted_unlearned(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    """Confirmed against the hold; learned and lost again, it is no worse than was accepted."""
    confirmed(assignment, coordinator, clinician="Dr. Ottoline Brask")
    revoke(cleared_by_teach_back(assignment, dietitian), dietitian)
    assert told() == []


def test_not_when_the_module_was_waived(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    clearance = cleared_by_teach_back(assignment, dietitian)
    clear.waive(assignment, reason="Taught elsewhere.", at=now(), by_id=a_member("clinician").pk)
    confirmed(assignment, coordinator)
    revoke(clearance, dietitian)
    assert told() == []


# --- what nobody with an account confirmed: every coordinator is told ----------------------------


def confirmed_by_the_schedule(assignment: Assignment, by: StaffUser) -> Clearance:
    clearance = cleared_by_teach_back(assignment, by)
    change(assignment.operation, at=now(), booking=Booking.CONFIRMED)
    return clearance


def everybody_who_coordinates(*others: StaffUser) -> list[str]:
    """Two more coordinators, of whom one left; the addresses of who is told."""
    gone = a_member("coordinator")
    StaffUser.objects.filter(pk=gone.pk).update(is_active=False)
    return sorted([one.email for one in others] + [a_member("coordinator").email])


def test_what_the_schedule_confirmed_is_told_to_every_coordinator_once(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    clearance = confirmed_by_the_schedule(assignment, dietitian)
    everybody = everybody_who_coordinates(coordinator)
    html = signed_in(dietitian).get(reverse("revoke-clearance", args=[clearance.pk]))
    assert "the schedule alone confirmed it, so" in html.content.decode()
    revoke(clearance, dietitian)
    assert sorted(told()) == everybody
    look_at_everything(at=now())
    look_at_everything(at=now())
    assert sorted(told()) == everybody
    assert {one.purpose for one in Message.objects.all()} == {LOOK_AGAIN_ALL}


def test_so_is_what_the_sweep_or_a_requirement_finds(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    confirmed_by_the_schedule(assignment, dietitian)
    home = an_edition((PLAIN / "first_weeks_at_home.toml").read_text()).module
    require(assignment.operation.procedure, home, opens_days=-30, clear_by_days=-2, at=now())
    assert told() == [coordinator.email]
    clear.waive(
        Assignment.objects.get(module=home),
        reason="Ward.",
        at=now(),
        by_id=a_member("clinician").pk,
    )
    look_at_everything(at=now())
    an_edition(earlier_clearances_count=False)
    look_at_everything(at=now())
    assert told() == [coordinator.email] * 2, "settled, and lapsed anew"


def test_so_is_what_somebody_confirmed_who_has_no_account_any_more(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    clearance = cleared_by_teach_back(assignment, dietitian)
    confirmed(assignment, coordinator)
    everybody = everybody_who_coordinates()
    StaffUser.objects.filter(pk=coordinator.pk).update(is_active=False)
    html = signed_in(dietitian).get(reverse("revoke-clearance", args=[clearance.pk]))
    assert "has no account any more, so" in html.content.decode()
    revoke(clearance, dietitian)
    assert told() == everybody


def test_without_a_coordinator_the_clinicians_are_told_and_not_who_did_it(
    assignment: Assignment, dietitian: StaffUser
) -> None:
    clearance = confirmed_by_the_schedule(assignment, dietitian)
    assert told() == []
    clinician = a_member("clinician")
    revoke(clearance, dietitian)
    assert told() == [clinician.email]


# --- what else makes a confirmation not fit any more ----------------------------------------------


def later(operation: Operation, days: int) -> date:
    return (operation.or_date or date.max) + timedelta(days=days)


def test_a_moved_date_tells_whoever_confirmed_the_other_once(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    """Moved on, and on again: the same confirmation is undone once, not twice."""
    cleared_by_teach_back(assignment, dietitian)
    operation = confirmed(assignment, coordinator)
    move(operation, later(operation, 1), at=now(), by_id=dietitian.pk)
    move(operation, later(operation, 2), at=now(), by_id=dietitian.pk)
    look_at_everything(at=now())
    assert told() == [coordinator.email]


def test_moved_back_and_moved_again_is_told_anew(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    cleared_by_teach_back(assignment, dietitian)
    operation = confirmed(assignment, coordinator)
    for days in (1, 0, 1):
        move(operation, later(operation, days), at=now(), by_id=dietitian.pk)
    assert told() == [coordinator.email] * 2


def test_who_moves_what_they_confirmed_gets_no_email(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    """They know; it stands at the top of the page all the same."""
    cleared_by_teach_back(assignment, dietitian)
    operation = confirmed(assignment, coordinator)
    move(operation, later(operation, 1), at=now(), by_id=coordinator.pk)
    look_at_everything(at=now())
    assert told() == []
    assert [one.change for one in unsettled(at=now())] == [Change.DATE_MOVED]


def test_a_waiver_taken_back_tells_whoever_confirmed_on_it(
    assignment: Assignment, coordinator: StaffUser
) -> None:
    by = a_member("clinician").pk
    waiver = clear.waive(assignment, reason="Taught elsewhere.", at=now(), by_id=by)
    confirmed(assignment, coordinator)
    clear.revoke_waiver(waiver, reason="It was not.", at=now(), by_id=by)
    clear.revoke_waiver(waiver, reason="It was not.", at=now(), by_id=by)
    assert told() == [coordinator.email]


def test_a_requirement_that_is_added_tells_each_who_confirmed_one_email(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    """Two operations of two patients, one who confirmed both: one email, which names nobody."""
    other = an_assignment(operation=an_operation(patient=a_patient()))
    for one in (assignment, other):
        cleared_by_teach_back(one, dietitian)
        confirmed(one, coordinator)
    home = an_edition((PLAIN / "first_weeks_at_home.toml").read_text()).module
    procedure = assignment.operation.procedure
    require(procedure, home, opens_days=-30, clear_by_days=-3, at=now())
    assert told() == [coordinator.email]
    assert Message.objects.get(purpose=LOOK_AGAIN).patient is None
    require(procedure, home, opens_days=-30, clear_by_days=-2, at=now())
    assert told() == [coordinator.email]


def test_the_sweep_finds_what_no_act_told_of_and_tells_it_once(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    """A new edition ends the clearances on earlier ones; it knows nothing of operations."""
    cleared_by_teach_back(assignment, dietitian)
    confirmed(assignment, coordinator)
    look_at_everything(at=now())
    assert told() == []
    an_edition(earlier_clearances_count=False)
    look_at_everything(at=now())
    look_at_everything(at=now())
    assert told() == [coordinator.email]


def test_what_was_settled_and_lapses_again_is_told_again(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    first = cleared_by_teach_back(assignment, dietitian)
    confirmed(assignment, coordinator)
    revoke(first, dietitian)
    second = cleared_by_teach_back(assignment, dietitian)
    look_at_everything(at=now())
    assert told() == [coordinator.email]
    revoke(second, dietitian)
    look_at_everything(at=now())
    assert told() == [coordinator.email] * 2


def test_the_email_about_a_move_is_committed_with_it_or_not_at_all(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    """Promise B2."""
    cleared_by_teach_back(assignment, dietitian)
    operation = confirmed(assignment, coordinator)
    with transaction.atomic():
        move(operation, later(operation, 1), at=now(), by_id=dietitian.pk)
        assert told() == [coordinator.email]
        transaction.set_rollback(True)
    assert told() == []


# --- said before and afterwards ------------------------------------------------------------------


def test_the_forms_say_who_will_be_told_before_it_happens(
    assignment: Assignment, coordinator: StaffUser, dietitian: StaffUser
) -> None:
    clearance = cleared_by_quiz(assignment)
    operation = confirmed(assignment, coordinator)
    or_date = operation.or_date or date.max
    said = (
        f"An OR date confirmed on it: {or_date.day} {or_date:%B %Y}, Dr. Ottoline Brask; "
        "Rosalind Achterberg will be told."
    )
    client = signed_in(dietitian)
    submission = clearance.decision.submission  # type: ignore[union-attr]
    for name, pk in (("revoke-clearance", clearance.pk), ("undo-identity", submission.pk)):
        assert said in client.get(reverse(name, args=[pk])).content.decode(), name
    address = reverse("undo-identity", args=[submission.pk])
    client.post(address, {"act_key": new_key(), "reason": "Her sister took it."})
    html = client.get(reverse("submission", args=[submission.pk])).content.decode()
    assert "Told by email, because of a confirmed OR date: Rosalind Achterberg." in html
    record = client.get(reverse("patient", args=[operation.patient_id])).content.decode()
    assert "look again at the confirmed OR date, to rosalind@larkfield.example" in record


# --- the email (promise W10) ---------------------------------------------------------------------


@pytest.fixture(params=PURPOSES)
def received(
    request: pytest.FixtureRequest,
    assignment: Assignment,
    coordinator: StaffUser,
    dietitian: StaffUser,
) -> EmailMessage:
    """Each email as it went out, read as RFC 5322 has it, with Python's own parser."""
    clearance = cleared_by_teach_back(assignment, dietitian)
    if request.param == LOOK_AGAIN:
        confirmed(assignment, coordinator)
    else:
        change(assignment.operation, at=now(), booking=Booking.CONFIRMED)
    revoke(clearance, dietitian)
    with override_settings(MAIL_FROM="programme@larkfield.example"):
        assert send(Message.objects.get(purpose=request.param).pk, at=now())
    raw = mail.outbox[-1].message().as_bytes()
    assert len(raw) <= 30_000
    parsed = email.message_from_bytes(raw, policy=email.policy.default)
    assert isinstance(parsed, EmailMessage)
    assert not parsed.defects
    return parsed


def test_w10_it_says_nothing_of_anybody(received: EmailMessage) -> None:
    text, html = body(received, "plain"), body(received, "html")
    link = re.findall(r"https?://\S+", text)[0]
    shown = [str(received["Subject"]), str(received["From"]), text[:PREVIEW], link]
    shown += [f"{name}: {value}" for name, value in received.items() if name != "To"]
    for part in shown:
        words = {word.rstrip("s") for word in re.findall(r"[^\W_]+", part.lower())}
        assert words.isdisjoint(HEALTH_WORDS), part
    for part in (*shown, text, html):
        for fact in ("quilla", "vandersloot", "kx-77", "imogen", "brask"):
            assert fact not in part.lower()


def test_w10_the_text_comes_first_is_short_and_has_one_link_in_full(
    received: EmailMessage,
) -> None:
    assert [p.get_content_type() for p in received.iter_parts()] == ["text/plain", "text/html"]
    text, html = body(received, "plain"), body(received, "html")
    assert len(text.split()) <= 120
    for sentence in sentences(text.split("\n\n")):
        assert len(sentence.split()) <= 20
    links = re.findall(r"https?://\S+", text)
    assert len(links) == 1
    assert re.findall(r'<a href="([^"]+)">([^<]+)</a>', html) == [(links[0], links[0])]
    assert html.count("http") == 2
    for tag in ("<img", "<script", "<link", "<style", "style="):
        assert tag not in html
    said = " ".join(re.sub(r"<head>.*</head>|<[^>]+>", " ", html, flags=re.S).split())
    assert said == " ".join(text.split())


def test_its_link_leads_to_what_changed(received: EmailMessage, coordinator: StaffUser) -> None:
    link = re.findall(r"https?://\S+", body(received, "plain"))[0]
    path = link[link.index("/", len("https://")) :]
    response = signed_in(coordinator).get(path, follow=True)
    html = response.content.decode()
    assert response.redirect_chain == [(reverse("operations"), 302)]
    assert "Confirmed, and no longer clear" in html
    assert "Rosalind Achterberg" in html


def test_the_mail_tray_shows_it(
    assignment: Assignment,
    coordinator: StaffUser,
    dietitian: StaffUser,
    settings: Settings,
    tmp_path: Path,
) -> None:
    settings.MAIL_TRAY, settings.DATA_DIR = True, tmp_path
    settings.MAIL_FOLDER = tmp_path / "mail"
    settings.EMAIL_BACKEND = "clinic.mail_folder.Backend"
    clearance = cleared_by_teach_back(assignment, dietitian)
    confirmed(assignment, coordinator)
    revoke(clearance, dietitian)
    assert send(Message.objects.get(purpose=LOOK_AGAIN).pk, at=now())
    client = signed_in(dietitian)
    html = client.get(reverse("mail-tray")).content.decode()
    assert "Please look at something again" in html
    assert coordinator.email in html
    (kept,) = settings.MAIL_FOLDER.glob("*.eml")
    opened = client.get(reverse("mail-tray-message", args=[kept.stem])).content.decode()
    assert "This one went to a member of staff" in opened
    assert "Follow the link as the patient would" not in opened
