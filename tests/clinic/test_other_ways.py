"""A quiz on paper, on a shared screen, by phone: the whole way of each, and what can go wrong."""

import uuid
from collections.abc import Sequence
from datetime import timedelta
from html import unescape
from io import BytesIO
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from clinic import quiz_sheet
from clinic.models import StaffUser
from education.answers_in_words import right_answer
from education.drawn import asked_of
from education.enter import enter
from education.forms import Typed
from education.invite import Refusal
from education.models import Assignment, Attempt, Clearance, Invitation, QuizCode, Submission
from education.other_ways import SheetState, attempt_of, print_sheet, read_sheet
from education.rules.quiz_code import spelled
from education.rules.quiz_way import Way
from education.rules.standing import Reason, Standing
from education.shown import questions
from education.standings import standing_of
from education.take import begin, in_progress
from education.written import as_typed
from patients.clock import now
from patients.models import Patient
from patients.programme import current, local_day
from tests.education.every_kind import EVERY_KIND, KINDS
from tests.education.phone import as_sent
from tests.factories import (
    a_member,
    a_patient,
    a_submission,
    an_assignment,
    an_edition,
    an_invitation,
    an_operation,
    days_ago,
    signed_in,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def dietitian() -> StaffUser:
    return a_member("dietitian", name="Ada Birchall")


@pytest.fixture
def browser(dietitian: StaffUser) -> Client:
    return signed_in(dietitian)


def an_assigned(*, language: str = "en", email: str = "") -> Assignment:
    """Somebody without email, booked and required four days ago."""
    at = days_ago(4)
    patient = a_patient(
        given_names="Odalys", family_names="Trent", language=language, email=email, at=at
    )
    module = an_edition(EVERY_KIND, at=at).module
    return an_assignment(operation=an_operation(patient=patient, at=at), module=module, at=at)


def a_sheet(assignment: Assignment, by: StaffUser, *, days: int = 2) -> QuizCode:
    patient = assignment.operation.patient
    made = print_sheet(assignment, language=patient.language, at=days_ago(days), by_id=by.pk)
    assert not isinstance(made, Refusal), made
    return made


def as_born(patient: Patient) -> dict[str, str]:
    born = patient.birth_date
    return {
        "given_names": patient.given_names,
        "family_names": patient.family_names,
        "month": f"{born:%B}",
        "day": str(born.day),
        "year": str(born.year),
    }


def typed(attempt: Attempt, *, blank: Sequence[str] = ()) -> dict[str, str]:
    """Right answers as staff type them, by field."""
    return {
        f"q{q.number}": "" if q.record.kind in blank else as_typed(q, right_answer(q.record))
        for q in questions(attempt, "en")
    }


def send(browser: Client, address: str, **form: str) -> Any:
    return browser.post(address, {"act_key": str(uuid.uuid4()), **form})


def words(response: Any) -> str:
    return unescape(response.content.decode())


def pdf_text(content: bytes) -> str:
    return "\n".join(page.extract_text() for page in PdfReader(BytesIO(content)).pages)


def test_on_paper_from_the_printing_to_the_clearance(browser: Client, dietitian: StaffUser) -> None:
    assignment = an_assigned(language="es")
    patient = assignment.operation.patient
    page = browser.get(reverse("patient", args=[patient.pk]))
    assert "Give the quiz another way" in words(page)
    made = send(browser, reverse("print-sheets"), a=str(assignment.pk))
    told = words(browser.get(made["Location"]))
    code = QuizCode.objects.get()
    assert spelled(code.code) in told
    assert patient.full_name in told
    assert standing_of(assignment, on=local_day(now())).answer.reasons[-1] == Reason.NOT_OPENED
    assert "sheet printed" in words(browser.get(reverse("patient", args=[patient.pk])))

    printed = browser.get(reverse("sheet-pdf", args=[code.code]))
    sheet = pdf_text(printed.content)
    assert "¿Cómo bebe?" in sheet or "¿De qué tamaño es un sorbo?" in sheet
    assert "Responda" in sheet
    for fact in (patient.given_names, patient.family_names, patient.mrn, str(patient.birth_date)):
        assert fact not in sheet

    address = reverse("enter-sheet", args=[code.code])
    found = browser.get(reverse("enter-code"), {"code": spelled(code.code).lower()})
    assert found["Location"] == address
    form = words(browser.get(address))
    assert patient.family_names not in form  # what is typed comes from the sheet
    attempt = attempt_of(code.invitation)
    given = typed(attempt, blank=["order"]) | as_born(patient)
    given["answered_on"] = str(local_day(now()))
    asked = send(browser, address, **given)
    number = KINDS.index("order") + 1
    assert asked.status_code == 422
    assert f"1 question without an answer: {number}" in words(asked)
    assert 'value="Odalys"' in words(asked)
    assert not Submission.objects.exists()
    key = str(uuid.uuid4())
    for _twice in range(2):
        done = send(browser, address, **given, blanks=str(number), act_key=key)
        assert done["Location"] == address
    submission = Submission.objects.get()
    assert (submission.right, submission.total) == (len(KINDS) - 1, len(KINDS))
    assert (submission.by, submission.way, submission.language) == (dietitian, Way.PAPER, "es")
    came = words(browser.get(address))
    assert "on paper, filled in" in came
    assert "entered by Ada Birchall" in came
    assert "matched automatically" in came.lower()
    assert Clearance.objects.get().patient == patient
    assert standing_of(assignment, on=local_day(now())).answer.standing == Standing.CLEARED
    # entered by somebody else meanwhile: says so, and changes nothing
    again = send(browser, address, **given)
    assert again.status_code == 409
    assert Submission.objects.count() == 1
    for form_of_record in ("csv", "fhir", "pdf"):
        record = browser.get(reverse(f"clearance-record-{form_of_record}", args=[patient.pk]))
        text = pdf_text(record.content) if form_of_record == "pdf" else record.content.decode()
        assert {"csv": "paper | filled in", "fhir": "WRITTEN", "pdf": "on paper, filled in"}[
            form_of_record
        ] in " ".join(text.split())
    history = words(browser.get(reverse("patient", args=[patient.pk])))
    assert "quiz sheet printed" in history
    assert "entered by Ada Birchall" in history


def test_the_day_on_which_it_was_filled_in_counts_for_the_window(
    browser: Client, dietitian: StaffUser
) -> None:
    """A clearance is dated by the day on which the patient showed understanding."""
    assignment = an_assigned()
    patient = assignment.operation.patient
    code = a_sheet(assignment, dietitian, days=2)
    address = reverse("enter-sheet", args=[code.code])
    today = local_day(now())
    given = typed(attempt_of(code.invitation)) | as_born(patient)
    for day, said in (
        (today + timedelta(days=1), "That day is still to come."),
        (today - timedelta(days=3), "not before."),
    ):
        refused = send(browser, address, **given, answered_on=str(day))
        assert said in words(refused)
    assert "Type the day" in words(send(browser, address, **given))
    send(browser, address, **given, answered_on=str(today - timedelta(days=1)))
    assert Clearance.objects.get().cleared_on == today - timedelta(days=1)


def test_what_cannot_be_read_is_said_beside_its_field_and_nothing_is_lost(
    browser: Client, dietitian: StaffUser
) -> None:
    assignment = an_assigned()
    code = a_sheet(assignment, dietitian)
    address = reverse("enter-sheet", args=[code.code])
    given = typed(attempt_of(code.invitation)) | as_born(assignment.operation.patient)
    given |= {"answered_on": str(local_day(now())), "family_names": "Trent-Ångström"}
    for kind, wrong, said in (
        ("one", "ab", "One letter only."),
        ("several", "z", "Type letters from a to c."),
        ("number", "1,200", "This could mean two numbers."),
        ("order", "112", "One stands twice."),
        ("match", "a", "Type one for each of the"),
    ):
        field = f"q{KINDS.index(kind) + 1}"
        refused = send(browser, address, **(given | {field: wrong}))
        assert refused.status_code == 422
        assert said in words(refused), kind
        assert f'value="{wrong}"' in words(refused)
        assert 'value="Trent-Ångström"' in words(refused)
    assert not Submission.objects.exists()
    # 1,5 oz is a number, and wrong here: blank and wrong are told apart
    number = f"q{KINDS.index('number') + 1}"
    send(browser, address, **(given | {number: "1,5 oz"}))
    assert Submission.objects.get().right == len(KINDS) - 1


def test_a_code_that_opens_nothing_says_why(browser: Client, dietitian: StaffUser) -> None:
    assignment = an_assigned()
    code = a_sheet(assignment, dietitian).code
    enter = reverse("enter-code")
    mistyped = ("2" if code[0] != "2" else "3") + code[1:]  # which the check always sees
    for wrong, said in (
        (mistyped, "One letter or digit is wrong."),
        (code[:-1], "eight letters and digits"),
        ("O" + code[1:], "No code has vowels"),
        ("2222222G", "No sheet has this code"),
    ):
        answer = browser.get(enter, {"code": wrong})
        assert said in words(answer), wrong
        assert f'value="{wrong}"' in words(answer)
    withdrawn = send(browser, reverse("withdraw-sheet", args=[code]))
    assert withdrawn.status_code == 302
    assert "It was withdrawn" in words(browser.get(reverse("enter-sheet", args=[code])))


def test_a_sheet_is_overtaken_when_the_right_answers_were_shown(
    browser: Client, dietitian: StaffUser
) -> None:
    """Two sheets, a link: what is handed in first shows the answers to the same questions."""
    assignment = an_assigned(email="odalys@example.org")
    first, second = (a_sheet(assignment, dietitian, days=days) for days in (3, 2))
    link, _ = an_invitation(assignment=assignment)
    a_submission(link, wrong=len(KINDS))
    for code in (first, second):
        sheet = read_sheet(code, at=now())
        assert sheet.state == SheetState.OVERTAKEN
        page = words(browser.get(reverse("enter-sheet", args=[code.code])))
        assert "the right answers to these questions were shown" in page
    third = a_sheet(assignment, dietitian, days=0)
    assert attempt_of(third.invitation).turn == 1  # a retake is not the same quiz


def test_a_quiz_begun_by_the_link_is_drawn_anew_when_a_sheet_came_in(dietitian: StaffUser) -> None:
    assignment = an_assigned(email="odalys@example.org")
    patient = assignment.operation.patient
    link, _ = an_invitation(assignment=assignment, at=days_ago(2))
    begun = begin(link, at=days_ago(2))
    assert in_progress(link) == begun
    attempt = attempt_of(a_sheet(assignment, dietitian, days=1).invitation)
    enter(
        attempt,
        dict.fromkeys(asked_of(attempt)),
        Typed(patient.given_names, patient.family_names, patient.birth_date),
        language="en",
        at=now(),
        by_id=dietitian.pk,
        answered_on=local_day(now()),
    )
    assert in_progress(link) is None
    assert begin(link, at=now()).turn == 1


def test_a_sheet_keeps_its_edition_and_says_that_a_newer_one_ended_it(
    browser: Client, dietitian: StaffUser
) -> None:
    assignment = an_assigned()
    code = a_sheet(assignment, dietitian)
    before = pdf_text(quiz_sheet.write([code], programme=current()))
    an_edition(
        EVERY_KIND.replace("Take small sips.", "Take tiny sips."), earlier_clearances_count=False
    )
    code = QuizCode.objects.get(pk=code.pk)
    assert attempt_of(code.invitation).edition.number == 1
    assert pdf_text(quiz_sheet.write([code], programme=current())) == before
    page = words(browser.get(reverse("enter-sheet", args=[code.code])))
    assert "it will not clear anybody" in page


def test_too_old_a_sheet_counts_if_it_was_filled_in_before(
    browser: Client, dietitian: StaffUser
) -> None:
    assignment = an_assigned()
    code = a_sheet(assignment, dietitian, days=3)
    sheet = read_sheet(code, at=code.invitation.expires_at)
    assert sheet.state == SheetState.EXPIRED
    assert read_sheet(code, at=code.invitation.expires_at - timedelta(seconds=1)).state == "good"


def test_by_phone_it_is_saved_as_it_goes(browser: Client, dietitian: StaffUser) -> None:
    assignment = an_assigned()
    patient = assignment.operation.patient
    begun = send(browser, reverse("phone-begin", args=[assignment.pk]))
    address = begun["Location"]
    call = Invitation.objects.get(way=Way.PHONE)
    attempt = attempt_of(call)
    script = words(browser.get(address))
    assert "please tell me your full name" in script
    assert f"{patient.birth_date:%Y}" not in script  # asked for, never told
    answers = typed(attempt)
    said = as_born(patient)
    kept = browser.post(address, {**said, "q1": answers["q1"], "save": "yes"})
    assert "#id_q2" in kept["Location"]
    again = words(browser.get(kept["Location"]))
    assert f'value="{answers["q1"]}"' in again
    assert 'value="Odalys"' in again
    assert "Odalys" not in words(signed_in("clinician").get(address)).replace(
        patient.full_name, ""
    )  # what was said is in this browser alone
    # one that cannot be read does not lose the others
    half = browser.post(address, {**said, "q1": "zz", "q2": answers["q2"], "save": "yes"})
    assert half.status_code == 422
    assert attempt.drafts.count() == 2
    resumed = send(browser, reverse("phone-begin", args=[assignment.pk]))
    assert resumed["Location"] == address
    for _twice in range(2):
        done = browser.post(address, {**said, **answers, "hand_in": "yes"})
        assert done["Location"] == address
    submission = Submission.objects.get()
    assert submission.passed
    assert (submission.by, submission.way) == (dietitian, Way.PHONE)
    assert Clearance.objects.get().patient == patient
    assert "by phone, read by Ada Birchall" in words(browser.get(address))
    record = browser.get(reverse("clearance-record-fhir", args=[patient.pk])).content.decode()
    assert "VERBAL" in record


def open_on(tablet: Client, code: str) -> str:
    """Type a code on the shared screen; returns the address that it opened."""
    opened = tablet.post(reverse("kiosk"), {"code": code})
    assert opened.status_code == 303, words(opened)
    return str(opened["Location"]).partition("?")[0]


def test_a_shared_screen_takes_the_quiz_and_forgets_it(browser: Client) -> None:
    assignment = an_assigned()
    patient = assignment.operation.patient
    send(browser, reverse("screen-code", args=[assignment.pk]))
    code = QuizCode.objects.get()
    assert spelled(code.code) in words(browser.get(reverse("other-ways", args=[assignment.pk])))
    tablet = Client()
    start = open_on(tablet, spelled(code.code).lower())
    lesson = tablet.get(start)
    assert "Stop and close" in words(lesson)
    assert lesson["Refresh"] == f"1200; url={start}idle/?here="
    assert lesson["Cache-Control"] == "no-store, private"
    assert Client().get(start)["Location"] == reverse("kiosk")  # the address alone opens nothing
    used = Client().post(reverse("kiosk"), {"code": code.code})
    assert "This code was used before" in words(used)

    assert tablet.post(start, {"begin": "yes"})["Location"] == f"{start}1/"
    attempt = Attempt.objects.get()
    page = tablet.get(f"{start}1/")
    assert page["Refresh"] == f"300; url={start}idle/?here=1%2F"
    idle = tablet.get(f"{start}idle/?here=1/")
    assert f'href="{start}1/"' in words(idle)
    assert idle["Refresh"] == f"60; url={start}over/"
    for question in questions(attempt, "en"):
        sent = as_sent(question, right_answer(question.record))
        assert tablet.post(f"{start}{question.number}/", sent).status_code == 303
    tablet.post(f"{start}you/", as_born(patient))
    tablet.post(f"{start}check/", {"hand_in": "yes"})
    assert "You passed" in words(tablet.get(f"{start}result/"))
    assert Submission.objects.get().way == Way.KIOSK
    assert Clearance.objects.get().patient == patient

    done = tablet.post(f"{start}over/", {"done": "yes"})
    assert done["Location"] == reverse("kiosk")
    assert done["Clear-Site-Data"] == '"cache", "cookies", "storage"'
    assert not [c for c in tablet.cookies.values() if c.value]
    for behind in ("", "1/", "result/", "check/"):
        assert tablet.get(start + behind)["Location"] == reverse("kiosk")
    history = words(browser.get(reverse("patient", args=[patient.pk])))
    assert "in the clinic, on a shared screen" in history


def test_no_staff_session_stays_on_a_shared_screen(browser: Client) -> None:
    assignment = an_assigned()
    here = send(browser, reverse("screen-code", args=[assignment.pk]), here="yes")
    page = words(browser.get(here["Location"]))
    code = QuizCode.objects.get()
    assert f'value="{code.code}"' in page
    assert "signs them out first" in page
    start = open_on(browser, code.code)
    assert browser.get(start).status_code == 200
    assert browser.get(reverse("morning"))["Location"].startswith("/sign-in/")
    # left idle: the cookie goes, and what was begun can be gone on with behind a new code
    browser.post(start, {"begin": "yes"})
    attempt = Attempt.objects.get()
    assert browser.get(f"{start}over/")["Location"] == reverse("kiosk")
    assert browser.get(start)["Location"] == reverse("kiosk")
    other = signed_in("dietitian")
    send(other, reverse("screen-code", args=[assignment.pk]))
    tablet = Client()
    again = open_on(tablet, QuizCode.objects.latest("pk").code)
    tablet.post(again, {"begin": "yes"})
    assert Attempt.objects.latest("pk").edition == attempt.edition
    assert (Attempt.objects.latest("pk").seed, Attempt.objects.count()) == (attempt.seed, 2)


def test_wrong_codes_on_a_shared_screen_are_soon_too_many() -> None:
    an_assigned()
    tablet = Client(REMOTE_ADDR="192.0.2.77")
    assert tablet.post(reverse("kiosk"), {"code": "2222-2222"}).status_code == 422
    answers = [tablet.post(reverse("kiosk"), {"code": "2222222G"}) for _ in range(21)]
    assert [answer.status_code for answer in answers] == [422] * 20 + [429]


def test_several_sheets_say_how_many_and_can_be_withdrawn(browser: Client) -> None:
    first, second = an_assigned(), an_assignment()
    closed = an_assignment(operation=an_operation(days_ahead=None))
    ids = [str(a.pk) for a in (first, second, closed)]
    asked = words(browser.get(reverse("print-sheets"), {"a": ids}))
    assert "Make 2 sheets to print?" in asked
    assert "Cannot be printed: 1" in asked
    made = browser.post(reverse("print-sheets"), {"act_key": str(uuid.uuid4()), "a": ids[:2]})
    page = words(browser.get(made["Location"]))
    assert "2 sheets to print" in page
    stamp = made["Location"].rstrip("/").rpartition("/")[2]
    pages = PdfReader(BytesIO(browser.get(reverse("sheets-pdf", args=[stamp])).content)).pages
    assert any(spelled(code.code) in pages[0].extract_text() for code in QuizCode.objects.all())
    send(browser, reverse("withdraw-sheets", args=[stamp]))
    assert {read_sheet(c, at=now()).state for c in QuizCode.objects.all()} == {"withdrawn"}


def test_paper_and_phone_can_be_told_apart_in_the_figures(
    browser: Client, dietitian: StaffUser
) -> None:
    assignment = an_assigned()
    code = a_sheet(assignment, dietitian)
    given = typed(attempt_of(code.invitation)) | as_born(assignment.operation.patient)
    send(
        browser,
        reverse("enter-sheet", args=[code.code]),
        **given,
        answered_on=str(local_day(now())),
    )
    address = reverse("quiz-measured", args=["every-kind"])
    for way, count in (("", 1), ("staff", 1), ("paper", 1), ("own", 0), ("kiosk", 0)):
        result = browser.get(address, {"way": way}).context["result"]
        assert result.counted.quizzes == count, way
