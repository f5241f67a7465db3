"""The demo's scenario: everything that the demo promises to show is there, on any day."""

import codecs
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import cast

import pytest
from django.apps import apps
from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.core import mail
from django.core.mail import EmailMessage
from django.db import transaction

from clinic import demo_scenario
from clinic.confirm import answer
from clinic.demo.events import BEFORE
from clinic.demo.people import BY_MRN, PEOPLE
from clinic.demo.schedule_export import EXPORTS, export
from clinic.demo.stage import instant
from clinic.demo.story import PART_OF, STORY
from clinic.models import Confirmation, Role, StaffUser
from education.invite import Refusal, refusal
from education.models import (
    AddressMark,
    Assignment,
    Clearance,
    IdentityVerdict,
    Invitation,
    Message,
    MessageState,
    OftenAsked,
    PatientQuestion,
    ReceivedMail,
    Revocation,
    Submission,
)
from education.personal_link import LinkState, open_link
from education.rules.confirm import Word
from education.rules.standing import Standing
from education.standings import Told, standings, standings_as_of
from patients.import_schedule import preview
from patients.models import Booking, Contact, Operation, OperationChange, Outcome, Patient
from patients.rules.schedule_changes import Verdict
from patients.rules.schedule_reasons import Reason

# Each test runs in a savepoint of the transaction that `built` holds open for its day.
pytestmark = pytest.mark.django_db

DAYS = (
    date(2026, 12, 31),  # the history crosses the end of daylight saving, 1 November
    date(2027, 3, 14),  # clocks go forward in Denver this morning: standards.md, daylight saving
    date(2028, 2, 29),  # a leap day
)[: int(os.environ.get("DEMO_DAYS", "1"))]  # each takes half a minute: DEMO_DAYS=3 asks for all

# What the demo promises to show: part, its standing today, the weightiest reason.
SHOWN = (
    ("cleared in time", "cleared", "quiz_passed"),
    ("cleared late, needs sign-off", "needs_sign_off", "cleared_after_clear_by"),
    ("cleared late and signed off", "cleared", "late_but_signed_off"),
    ("late, never invited", "late", "never_invited"),
    ("late, invited, not opened", "late", "not_opened"),
    ("due", "due", "not_opened"),
    ("opened and not finished", "due", "not_finished"),
    ("failed once", "due", "failed"),
    ("failed twice, needs a visit", "late", "needs_visit"),
    ("attempts used up, needs teach-back", "due", "needs_teach_back"),
    ("the same safety question wrong twice", "late", "needs_teach_back"),
    ("cleared by teach-back", "cleared", "teach_back_seen"),
    ("waived", "cleared", "waived"),
    ("date moved after clearing", "due", "clearance_too_old"),
    ("cancelled", None, None),
    ("postponed without a date", "not_due", "no_date"),
    ("no email", "due", "never_invited"),
    ("no email, taught by telephone", "cleared", "teach_back_seen"),
    ("twin, quiz sent in", "due", "identity_undecided"),
    ("twin, not opened; the email came back", "not_due", "not_opened"),
    ("namesake, the older one", "cleared", "quiz_passed"),
    ("namesake, the younger one", "due", "not_opened"),
    ("quiz sent in under a married name", "due", "identity_undecided"),
    ("quiz from someone not on the schedule", "due", "identity_undecided"),
    ("shared address, cleared", "cleared", "quiz_passed"),
    ("shared address, not opened", "due", "not_opened"),
    ("took the quiz on paper", "cleared", "quiz_passed"),
    ("took the quiz in the waiting room", "cleared", "quiz_passed"),
    ("took the quiz by phone", "cleared", "quiz_passed"),
    ("mail refused", "due", "not_opened"),
    ("wrong match undone, the sender", "cleared", "quiz_passed"),
    ("wrong match undone, the other", "late", "not_opened"),
    ("confirmed, then no longer clear", "late", "identity_undecided"),
    ("confirmed against a hold", "late", "failed"),
    ("left a message twice", "late", "not_opened"),
    ("date passed, still open", "cleared", "quiz_passed"),
    ("on hold", "not_due", "not_opened"),
    ("date moved forward, suddenly late", "late", "not_opened"),
    ("entered a second time", "not_due", "not_opened"),
    ("has a former name", "not_due", "not_opened"),
)
PARTS = {part.part: part for part in STORY}


@dataclass(frozen=True)
class Built:
    """A day's scenario, what every assignment is on that day, and the mails that went out."""

    on: date
    told: dict[tuple[str, str], Told]
    mails: list[EmailMessage]

    def of(self, part: str, module: str = BEFORE) -> Told:
        return self.told[PARTS[part].mrn, module]

    def at(self, hour: int) -> datetime:
        return instant(self.on, 0, hour)


@pytest.fixture(scope="module", params=DAYS, ids=str)
def built(request: pytest.FixtureRequest, kept_open: None) -> Iterator[Built]:
    """Build the scenario once for each day; every test of the day reads it."""
    on = cast(date, request.param)
    with transaction.atomic():
        before = len(mail.outbox)
        demo_scenario.build(on, progress=lambda line: None)
        everything = Assignment.objects.select_related("operation__patient", "module")
        told = {
            (t.assignment.operation.patient.mrn, t.assignment.module.code): t
            for t in standings(everything, on=on)
        }
        yield Built(on, told, list(mail.outbox)[before:])
        transaction.set_rollback(True)


def operation(part: str) -> Operation:
    return Operation.objects.get(patient__mrn=PARTS[part].mrn)


@pytest.mark.parametrize("part, standing, reason", SHOWN, ids=[row[0] for row in SHOWN])
def test_every_part_is_played(
    built: Built, part: str, standing: str | None, reason: str | None
) -> None:
    told = built.of(part, PARTS[part].module)
    if standing is None:
        assert told.assignment.closed
    else:
        assert not told.assignment.closed
        assert (told.answer.standing, told.answer.reasons[0]) == (standing, reason)


def test_the_table_of_parts_tells_the_same(built: Built) -> None:
    assert {(p.part, p.standing, p.reason) for p in STORY} == set(SHOWN)


def test_everybody_else_is_where_the_usual_way_leads(built: Built) -> None:
    others = [
        t
        for (mrn, _), t in built.told.items()
        if mrn not in PART_OF and not t.assignment.closed and t.answer.flagged
    ]
    assert others == []


def test_history_came_before_the_day_and_in_order_of_time(built: Built) -> None:
    midnight = instant(built.on, 1, 23) + timedelta(hours=2)
    for model in apps.get_models():
        if any(field.name == "recorded_at" for field in model._meta.fields):
            times = list(
                model._default_manager.order_by("pk").values_list("recorded_at", flat=True)
            )
            assert all(at < midnight for at in times), model
            if getattr(model, "append_only", False):
                assert times == sorted(times), model


def test_about_sixty_patients_over_the_span_in_two_languages(built: Built) -> None:
    dates = Operation.objects.values_list("or_date", flat=True)
    days = [(or_date - built.on).days for or_date in dates if or_date]
    assert 55 <= Patient.objects.count() <= 65
    assert (min(days), max(days)) == (-40, 100)
    spanish = Patient.objects.filter(language="es").count()
    assert 0.28 <= spanish / Patient.objects.count() <= 0.42


def test_records_hold_what_was_meant_for_everybody(built: Built) -> None:
    for person in PEOPLE:
        patient = Patient.objects.get(mrn=person.mrn)
        assert (patient.given_names, patient.family_names) == (person.given, person.family)
        assert (patient.birth_date, patient.email) == (person.birth_date, person.email)
        assert (patient.language, patient.phone) == (person.language, person.phone)
        booked = Operation.objects.get(patient=patient)
        assert booked.procedure.code == person.procedure
        expected = None if person.or_day is None else built.on + timedelta(days=person.or_day)
        assert booked.or_date == expected


def test_addresses_and_numbers_are_nobodys(built: Built) -> None:
    """RFC 2606 section 3 reserves example.org; 555-0100 to 555-0199 are for fiction (NANPA)."""
    for patient in Patient.objects.all():
        assert re.fullmatch(r"303-555-01\d\d", patient.phone)
        assert patient.email == "" or patient.email.endswith("@example.org")


def test_one_login_for_each_role_works(built: Built) -> None:
    assert [role for role, _, _ in demo_scenario.LOGINS] == list(Role)
    for role, email, password in demo_scenario.LOGINS:
        user = StaffUser.objects.get(email=email)
        assert user.role == role
        assert user.check_password(password)
        validate_password(password, user)


def test_cleared_after_the_clear_by_date_was_late_the_day_before(built: Built) -> None:
    told = built.of("cleared late, needs sign-off")
    [before] = standings_as_of([told.assignment], on=built.on - timedelta(days=3))
    assert before.answer.standing == Standing.LATE


def test_moved_date_made_a_clearance_too_old(built: Built) -> None:
    told = built.of("date moved after clearing")
    [before] = standings_as_of([told.assignment], on=built.on - timedelta(days=20))
    assert before.answer.standing == Standing.CLEARED
    moved = OperationChange.objects.filter(operation=told.assignment.operation)
    assert [change.or_date for change in moved] == [
        built.on + timedelta(days=5),
        built.on + timedelta(days=22),
    ]


def test_bookings_are_what_the_parts_say(built: Built) -> None:
    assert operation("cancelled").booking == Booking.CANCELLED
    assert operation("postponed without a date").or_date is None
    assert operation("on hold").booking == Booking.ON_HOLD
    past = Operation.objects.filter(or_date__lt=built.on, booking=Booking.DONE)
    assert past.count() >= 8
    still_open = Operation.objects.date_passed(on=built.on)
    assert list(still_open) == [operation("date passed, still open")]


def test_no_email_cannot_be_invited(built: Built) -> None:
    assignment = built.of("no email").assignment
    assert refusal(assignment, at=built.at(9)) == Refusal.NO_EMAIL


def test_twins_namesakes_and_a_shared_address(built: Built) -> None:
    def patients(*parts: str) -> list[Patient]:
        return [built.of(part).assignment.operation.patient for part in parts]

    one, other = patients("twin, quiz sent in", "twin, not opened; the email came back")
    assert (one.family_names, one.birth_date) == (other.family_names, other.birth_date)
    assert one.given_names != other.given_names
    one, other = patients("namesake, the older one", "namesake, the younger one")
    assert one.name_key == other.name_key
    assert one.birth_date != other.birth_date
    one, other = patients("shared address, cleared", "shared address, not opened")
    assert one.email == other.email != ""


def test_undecided_quizzes_wait_for_a_person(built: Built) -> None:
    waiting = {
        s.attempt.invitation.assignment.operation.patient.mrn: s
        for s in Submission.objects.undecided()
    }
    assert set(waiting) == {
        PARTS[part].mrn for part, _, reason in SHOWN if reason == "identity_undecided"
    }
    stranger = waiting[PARTS["quiz from someone not on the schedule"].mrn]
    assert not Patient.objects.filter(birth_date=stranger.birth_date).exists()
    married = waiting[PARTS["quiz sent in under a married name"].mrn]
    patient = built.of("quiz sent in under a married name").assignment.operation.patient
    assert married.birth_date == patient.birth_date
    assert married.family_names != patient.family_names


def test_wrong_match_was_undone(built: Built) -> None:
    sender = PARTS["wrong match undone, the sender"].mrn
    [sent] = Submission.objects.filter(
        attempt__invitation__assignment__operation__patient__mrn=sender,
        edition__module__code=BEFORE,
    )
    other = built.of("wrong match undone, the other").assignment.operation.patient
    verdicts = [(d.verdict, d.patient) for d in sent.decisions.order_by("number")]
    assert verdicts == [
        (IdentityVerdict.MATCHED_BY_STAFF, other),
        (IdentityVerdict.UNDONE, None),
        (IdentityVerdict.MATCHED_BY_STAFF, Patient.objects.get(mrn=sender)),
    ]
    wrong = Clearance.objects.get(patient=other, module__code=BEFORE)
    assert Revocation.objects.filter(clearance=wrong).exists()


def test_confirmed_operation_stopped_being_clear(built: Built) -> None:
    booked = operation("confirmed, then no longer clear")
    confirmation = Confirmation.objects.get(operation=booked)
    assert booked.booking == Booking.CONFIRMED
    assert (confirmation.word, confirmation.against_hold) == (Word.CONFIRM, False)
    assert answer(booked, at=built.at(9)).verdict.word == Word.HOLD


def test_confirmed_against_a_hold_names_the_clinician(built: Built) -> None:
    confirmation = Confirmation.objects.get(operation=operation("confirmed against a hold"))
    assert (confirmation.word, confirmation.against_hold) == (Word.HOLD, True)
    clinician = StaffUser.objects.get(role=Role.CLINICIAN)
    assert confirmation.clinician == clinician.name
    assert confirmation.clinician_reason


def test_a_message_was_left_twice(built: Built) -> None:
    mrn = PARTS["left a message twice"].mrn
    outcomes = Contact.objects.filter(patient__mrn=mrn).values_list("outcome", flat=True)
    assert list(outcomes).count(Outcome.LEFT_A_MESSAGE) == 2


def test_refused_mail_failed_for_good_and_the_rest_went_out(built: Built) -> None:
    failed = Message.objects.filter(state=MessageState.FAILED)
    came_back = built.of("twin, not opened; the email came back").assignment.operation.patient
    refused = built.of("mail refused").assignment.operation.patient
    assert {m.patient for m in failed} == {refused, came_back}
    sent = Message.objects.filter(state=MessageState.SENT)
    assert sent.count() + failed.count() == Message.objects.count()
    assert sent.count() + 1 == len(built.mails) > 60
    assert [a.patient for a in AddressMark.objects.in_force()] == [came_back]
    wrote_back = ReceivedMail.objects.to_look_at().values_list("message__patient__mrn", flat=True)
    assert list(wrote_back) == [PARTS["late, invited, not opened"].mrn]
    assert all(m.sent_at == m.recorded_at for m in sent)


def test_the_patient_to_try_with_can_be_invited(built: Built) -> None:
    assert BY_MRN[PARTS["late, never invited"].mrn] == demo_scenario.TRY_WITH
    assert refusal(built.of("late, never invited").assignment, at=built.at(9)) is None


@pytest.mark.parametrize("part", ["late, invited, not opened", "due", "failed once"])
def test_mails_carry_links_that_open(built: Built, part: str) -> None:
    assignment = built.of(part).assignment
    message = Message.objects.get(invitation__assignment=assignment)
    [sent] = [m for m in built.mails if m.extra_headers["Message-ID"] == message.message_id]
    token = re.search(r"/q/([^/\s]+)", str(sent.body))
    assert token
    link = open_link(Invitation, token[1], at=built.at(12))
    assert (link.state, link.link) == (LinkState.GOOD, message.invitation)


def test_the_last_schedule_had_rows_that_were_rejected(built: Built) -> None:
    """Unknown procedure, one record number for two people, two dates that are none."""
    for number in (171, 172, 173, 174):
        assert f"TF-30{number}".encode() in export(built.on, EXPORTS[-1])
        assert not Patient.objects.filter(mrn=f"TF-30{number}").exists()


def test_todays_schedule_is_left_to_be_imported(built: Built) -> None:
    data = (Path(settings.DATA_DIR) / demo_scenario.TO_IMPORT).read_bytes()
    assert data == export(built.on, days_ago=0)
    assert data.startswith(codecs.BOM_UTF8)
    assert "ARCENEAUX-WHITBY, DELPHINE" in data.decode()
    assert "Fuentes de León, Marisela" in data.decode()
    found = preview(data, day_first=False, at=built.at(9))
    assert {str(verdict): count for verdict, count in found.counts.items()} == {
        "created": 2,
        "updated": 3,
        "unchanged": 56,
        "rejected": 5,
    }
    assert found.table.blank_rows == 1
    assert preview(data, day_first=None, at=built.at(9)).needs_date_order
    assert [p.problems[0].reason for p in found.of(Verdict.REJECTED)] == [
        Reason.PROCEDURE_UNKNOWN,
        Reason.MRN_TWICE,
        Reason.MRN_TWICE,
        Reason.NO_SUCH_DAY,
        Reason.TWO_DIGIT_YEAR,
    ]


def test_one_question_waits_one_is_answered_and_one_is_for_everybody(built: Built) -> None:
    assert [q.patient.mrn for q in PatientQuestion.objects.waiting()] == ["TF-30107"]
    assert PatientQuestion.objects.exclude(answers__isnull=True).count() == 2
    [entry] = OftenAsked.objects.all()
    assert entry.came_from
    assert entry.came_from.patient.mrn == "TF-30109"
