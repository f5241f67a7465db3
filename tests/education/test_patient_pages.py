"""What each page of the patient's way asks, keeps, refuses and says."""

import re
from copy import deepcopy
from datetime import date, timedelta
from typing import Any

import pytest
import time_machine
from django.core import signing
from django.db import OperationalError, transaction
from django.utils import translation

from education.identify import undo
from education.models import DraftAnswer, Invitation, Submission
from education.rules.scoring import Given
from education.views import check as check_page
from education.views import question as question_page
from education.views import start as start_page
from patients.clock import now
from patients.register import correct
from tests.education.phone import NAME_AND_BIRTH, Phone, words
from tests.factories import (
    PLAIN,
    a_programme,
    a_submission,
    a_wrong_answer,
    an_assignment,
    an_edition,
    an_invitation,
    an_operation,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("invited")]


@pytest.fixture(scope="module")
def invited(kept_open: None) -> tuple[Invitation, str]:
    return an_invitation()


@pytest.fixture
def phone(invited: tuple[Invitation, str]) -> Phone:
    return Phone(*deepcopy(invited))


@pytest.fixture
def begun(phone: Phone) -> Phone:
    phone.begin()
    return phone


# --- the lesson ----------------------------------------------------------------------------------


def test_the_first_page_is_the_lesson_with_its_cautions_the_phone_and_one_button(
    phone: Phone,
) -> None:
    page = words(phone.open())
    edition = phone.invitation.assignment.module.editions.get()
    for section in edition.sections.all():
        assert f'<section id="{section.key}"' in page
        assert section.heading["en"] in page
    for said in (
        "insulin or other diabetes medicine",
        "a blood thinner",
        "blood-pressure or water tablets",
        "pregnant",
        "Your surgical team comes first",
        "Larkfield Programme",
        'href="tel:3125550142"',
        'href="tel:911"',
    ):
        assert said in page
    assert page.count('class="main"') == 1


@pytest.mark.parametrize("page", ["", "1/", "you/", "check/", "result/"])
def test_every_page_has_the_cautions_one_h1_one_main_button_and_no_script(page: str) -> None:
    phone = Phone(*an_invitation())
    if page == "result/":
        a_submission(phone.invitation, wrong=7)
    else:
        phone.begin()
        phone.answer_all()
        phone.type_name()
    shown = words(phone.open(page))
    assert "insulin or other diabetes medicine" in shown
    assert 'href="tel:3125550142"' in shown
    assert shown.count("<h1") == 1
    assert shown.count('class="main"') == 1
    for never in ("<script", " style=", " onclick=", "http://", "https://"):
        assert never not in shown
    if page:
        assert 'class="back"' in shown


def test_the_button_says_where_the_patient_stopped(begun: Phone) -> None:
    for number in (1, 2, 3):
        begun.answer(number)
    assert "Go on where you stopped (question 4 of 7)" in words(begun.open())
    begun.answer_all()
    assert "Go on where you stopped (your name)" in words(begun.open())


def test_a_new_link_to_the_same_address_goes_on_with_the_answers(begun: Phone) -> None:
    begun.answer(1)
    begun.answer(2)
    an_edition()  # an edition published meanwhile changes nothing here either
    fresh = Phone(*an_invitation(assignment=begun.invitation.assignment))
    assert "question 3 of 7" in words(fresh.open())
    assert fresh.open("3/")["Location"] == fresh.link  # nothing is taken over by a GET
    assert fresh.begin()["Location"] == f"{fresh.link}3/"
    assert fresh.invitation.attempts.get().edition.number == 1
    assert DraftAnswer.objects.filter(attempt__invitation=fresh.invitation).count() == 2


def test_answers_given_at_another_address_stay_there(begun: Phone) -> None:
    begun.answer(1)
    assignment = begun.invitation.assignment
    correct(assignment.operation.patient, at=now(), source="test", email="right@example.org")
    fresh = Phone(*an_invitation(assignment=assignment))
    assert "Begin the questions" in words(fresh.open())
    assert fresh.begin()["Location"] == f"{fresh.link}1/"
    assert not DraftAnswer.objects.filter(attempt__invitation=fresh.invitation).exists()


# --- questions -----------------------------------------------------------------------------------


def test_w1_ten_questions_take_at_most_25_taps() -> None:
    """Seven questions are counted here; ten take two taps more for each of three."""
    phone = Phone(*an_invitation())
    taps = 2  # the link in the email, and the button under the lesson
    address = phone.begin()["Location"]
    while not address.endswith("/you/"):
        address = phone.answer(int(address.split("/")[-2]))["Location"]
        taps += 2  # an option, and the button
    address = phone.type_name()["Location"]
    taps += 1
    assert address.endswith("/check/")
    assert phone.hand_in()["Location"].endswith("/result/")
    taps += 1
    assert taps + 3 * 2 <= 25


def test_a_saved_answer_stands_on_the_page_when_it_is_opened_again(begun: Phone) -> None:
    begun.answer(1)
    begun.answer(4, Given(number=a_wrong_answer(question_of(begun, 4)).number))
    assert words(begun.open("1/")).count(" checked") == 1
    assert 'value="104"' in words(begun.open("4/"))


@pytest.mark.parametrize("number", range(1, 8))
def test_an_empty_answer_is_asked_for_again_and_saves_nothing(begun: Phone, number: int) -> None:
    response = begun.send(f"{number}/", attempt="1")
    page = words(response)
    assert response.status_code == 422
    assert re.search(r'<div class="alert" role="alert" tabindex="-1" autofocus>', page)
    assert '<a href="#answer">' in page
    assert 'id="answer"' in page
    assert page.count("<title>Error: ") == 1
    assert not DraftAnswer.objects.exists()


@pytest.mark.parametrize(
    "typed, told",
    [
        ("four", "Type the number in digits"),
        ("4 ml", "Type the number in this unit: bottles."),
        ("1,200", "This could mean two numbers."),
        ("4" * 41, "This is too long."),
    ],
)
def test_a_number_that_cannot_be_read_is_kept_with_a_message(
    begun: Phone, typed: str, told: str
) -> None:
    response = begun.send("4/", attempt="1", answer=typed)
    assert response.status_code == 422
    assert told in words(response)
    assert f'value="{typed}"' in words(response)


@pytest.mark.parametrize("typed", ["4", "4,0", "4.0", " 4 ", "4 bottles", "4 botellas"])
def test_a_number_is_saved_as_people_write_it(begun: Phone, typed: str) -> None:
    assert begun.send("4/", attempt="1", answer=typed).status_code == 303
    assert question_of(begun, 4).pk == DraftAnswer.objects.get().question_id
    begun.answer_all()
    begun.type_name()
    begun.hand_in()
    assert Submission.objects.get().right == 7


def test_two_options_of_a_question_with_one_answer_are_refused(begun: Phone) -> None:
    options = [str(option.pk) for option in question_of(begun, 1).options.all()]
    assert begun.send("1/", attempt="1", answer=options[:2]).status_code == 404
    assert not DraftAnswer.objects.exists()


@pytest.mark.parametrize("field", ["answer", "attempt", "given_names", "day", "month", "year"])
@pytest.mark.parametrize("page", ["1/", "4/", "you/"])
def test_t6_100_kb_in_a_field_are_refused(begun: Phone, page: str, field: str) -> None:
    form = {"attempt": "1", **NAME_AND_BIRTH, field: "9" * 100_000}
    response = begun.send(page, **form)
    assert 400 <= response.status_code < 500
    assert len(response.content) < 5_000


@pytest.mark.parametrize("field", [*NAME_AND_BIRTH, "answer"])
def test_t6_a_field_just_under_the_form_limit_is_refused_and_not_sent_back(
    begun: Phone, field: str
) -> None:
    page = "4/" if field == "answer" else "you/"
    response = begun.send(page, **({"attempt": "1"} | NAME_AND_BIRTH | {field: "9" * 30_000}))
    assert response.status_code == 422
    assert "9" * 300 not in words(response)


def test_change_on_the_check_page_leads_back_to_it(begun: Phone) -> None:
    begun.answer_all()
    begun.type_name()
    assert f'{begun.link}3/?back=check"' in words(begun.open("check/"))
    attempt = begun.invitation.attempts.get()
    wrong = a_wrong_answer(question_of(begun, 3))
    sent = [str(option) for option in wrong.options]
    url = f"{begun.link}3/?back=check"
    response = begun.client.post(url, {"attempt": attempt.number, "answer": sent})
    assert response["Location"] == f"{begun.link}check/"


# --- fault 6: not saved --------------------------------------------------------------------------


def fail(*args: Any, **kwargs: Any) -> None:
    raise OperationalError("the database is gone")


def test_fault_6_a_database_that_fails_at_save_says_so_and_keeps_the_choice(
    begun: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(question_page, "save_answer", fail)
    response = begun.answer(1)
    assert response.status_code == 503
    assert "This was not saved." in words(response)
    assert words(response).count(" checked") == 1
    response = begun.answer(4)
    assert 'value="4"' in words(response)


def test_fault_6_a_database_that_fails_at_submit_says_so_and_keeps_everything(
    begun: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun.answer_all()
    begun.type_name()
    with monkeypatch.context() as broken:
        broken.setattr(check_page, "submit", fail)
        response = begun.hand_in()
    assert response.status_code == 503
    assert "This was not saved." in words(response)
    assert "Odalys" in words(response)
    assert not response.cookies
    assert not Submission.objects.exists()
    assert begun.hand_in()["Location"].endswith("/result/")


def test_fault_6_a_database_that_fails_at_the_beginning_says_so(
    phone: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(start_page, "begin", fail)
    assert phone.begin().status_code == 503


# --- name and date of birth ----------------------------------------------------------------------


@pytest.mark.parametrize(
    "typed, field, told",
    [
        ({"day": "31", "month": "2"}, "day", "There is no such day."),
        ({"month": "13"}, "month", "Months go from 1 to 12."),
        ({"month": "Brumaire"}, "month", "Type the month as a number or a name"),
        ({"year": "71"}, "year", "Type all four digits of the year"),
        ({"year": "2199"}, "year", "That day is still to come."),
        ({"year": "1800"}, "year", "That is too long ago."),
        ({"day": ""}, "day", "Type the day you were born."),
        ({"month": ""}, "month", "Type the month you were born."),
        ({"year": ""}, "year", "Type the year you were born."),
        ({"day": "x"}, "day", "Type the day as a number"),
        ({"given_names": ""}, "given_names", "Type your first name."),
        ({"given_names": "  "}, "given_names", "Type your first name."),
        ({"given_names": "A\x00b"}, "given_names", "a character that no name has"),
        ({"family_names": "A\r\nBcc: b"}, "family_names", "a character that no name has"),
        ({"family_names": "A\x1b[2J"}, "family_names", "a character that no name has"),
        ({"family_names": "x" * 201}, "family_names", "at most 200 characters"),
    ],
)
def test_w7_each_slip_has_its_message_at_the_field_that_is_wrong(
    begun: Phone, typed: dict[str, str], field: str, told: str
) -> None:
    response = begun.type_name(**typed)
    page = words(response)
    assert response.status_code == 422
    assert re.search(rf'<p class="error" id="{field}-error">[^<]*{re.escape(told)}', page)
    assert f'<a href="#{field}">' in page
    invalid = re.findall(r'name="(\w+)"[^>]*aria-invalid="true"', page)
    assert invalid == [field]
    assert "autofocus" in page
    kept = {**NAME_AND_BIRTH, **typed}
    for name in {*NAME_AND_BIRTH} - {field}:
        assert f'name="{name}"' in page
        assert f'value="{kept[name]}"' in page
    assert not response.cookies


def test_w7_the_date_is_asked_for_in_the_order_of_the_language(begun: Phone) -> None:
    def order(language: str) -> list[str]:
        page = words(begun.open(f"you/?l={language}"))
        return re.findall(r'name="(day|month|year)"', page)

    assert order("en") == ["month", "day", "year"]
    assert order("es") == ["day", "month", "year"]


NAMES = [
    # given names, family names, why
    ("Sukarto", "", "one name only"),
    ("O", "", "one letter"),
    ("X", "Y", "one letter each"),
    ("Siobhán", "O’Dea", "a curly apostrophe"),
    ("D'Arcy", "O'Brien-Ng", "straight apostrophes and a hyphen"),
    ("Anne-Lise", "von der Aue", "hyphen, particles"),
    ("María José", "Núñez de la Cruz", "several words, accents"),
    ("Ẽlaıne", "Łøvß", "letters beyond Latin-1"),
    ("Zoe\u0308", "Nu\u0303nez", "combining marks, not composed"),
    ("Nguyễn Thị", "Ánh", "two marks on one letter"),
    ("שירה", "בן־דוד", "Hebrew, right to left"),
    ("فاطمة الزهراء", "عبد الله", "Arabic, right to left"),
    ("مریم\u200cسادات", "ک", "a zero-width non-joiner"),
    ("春香", "小鳥遊", "Japanese"),
    ("伟", "欧阳", "Chinese"),
    ("민서", "남궁", "Korean"),
    ("Ольга", "Щукина", "Cyrillic"),
    ("Ἀγάθη", "Παπᾶ", "Greek"),
    ("प्रिया", "शर्मा", "Devanagari with vowel signs"),
    ("กานดา", "ณ อยุธยา", "Thai"),
    ("J.", "St. John Jr.", "full stops"),
    ("=1+1", "<b>&\"'", "a formula, markup and quotes"),
    ("Ana\u202ekcam", "Li🌻", "an override and a picture"),
    ("A" * 200, "b" * 200, "200 characters each"),
    ("ﷺ" * 200, "🪷" * 200, "200 characters each, the widest there are"),
    ("𠮷" * 100 + "Ω" * 100, "", "characters beyond the basic plane"),
]


def test_w7_each_name_goes_through_unchanged(begun: Phone) -> None:
    begun.answer_all()
    for given, family, why in NAMES:
        with transaction.atomic():
            goes_through(begun, given, family, why)
            transaction.set_rollback(True)  # the next name is handed in instead


def goes_through(begun: Phone, given: str, family: str, why: str) -> None:
    response = begun.type_name(given_names=given, family_names=family)
    assert response.status_code == 303, why
    cookie = response.cookies["typed"]
    # What a browser keeps: RFC 6265, section 6.1.
    assert len(cookie.OutputString()) < 4096, why
    shown = words(begun.open("check/"))
    assert html(given) in shown, why
    assert html(family) in shown, why
    assert f'value="{html(given)}"' in words(begun.open("you/")), why
    begun.hand_in()
    submission = Submission.objects.get()
    assert (submission.given_names, submission.family_names) == (given, family), why


def test_w7_there_are_25_shapes_of_names() -> None:
    assert len(NAMES) >= 25


def test_nothing_typed_is_stored_before_it_is_handed_in(begun: Phone) -> None:
    begun.answer_all()
    cookie = begun.type_name().cookies["typed"]
    assert cookie["httponly"]
    assert cookie["samesite"] == "Strict"
    assert cookie["path"] == begun.link
    assert cookie["max-age"] == 30 * 60
    assert not Submission.objects.exists()
    begun.hand_in()
    assert begun.client.cookies["typed"].value == ""


def test_in_production_the_cookie_goes_over_https_only(begun: Phone, settings: Any) -> None:
    settings.SESSION_COOKIE_SECURE = True
    assert begun.type_name().cookies["typed"]["secure"]


def test_a_cookie_that_is_missing_old_changed_or_of_another_link_is_not_believed(
    begun: Phone,
) -> None:
    begun.answer_all()
    assert begun.open("check/")["Location"] == f"{begun.link}you/"
    assert begun.hand_in()["Location"] == f"{begun.link}you/"
    begun.type_name()
    good = begun.client.cookies["typed"].value
    with time_machine.travel(now() + timedelta(minutes=31)):
        assert begun.open("check/")["Location"] == f"{begun.link}you/"
    facts = ["Odalys", "Trent", "1971-08-23"]
    for bad in (
        "x" + good,
        good[:-1],
        signing.dumps(facts, salt="quiz-typed:" + "0" * 64),
        signing.dumps(facts),
        "",
    ):
        begun.client.cookies["typed"] = bad
        assert begun.open("check/")["Location"] == f"{begun.link}you/"
    assert not Submission.objects.exists()


# --- check and hand in ---------------------------------------------------------------------------


def test_the_check_page_shows_everything_and_names_what_is_missing(begun: Phone) -> None:
    for number in (1, 2, 4):
        begun.answer(number)
    begun.type_name()
    page = words(begun.open("check/"))
    assert "August 23, 1971" in page
    assert "4 bottles" in page
    assert page.count("No answer yet") == 4
    assert "Answer question 3" in page
    response = begun.hand_in()
    assert response.status_code == 422
    assert f'{begun.link}7/?back=check"' in words(response)
    assert not Submission.objects.exists()


@pytest.mark.parametrize(
    "language, day", [("en", "August 23, 1971"), ("es", "23 de agosto de 1971")]
)
def test_w9_the_month_is_spelled_out(begun: Phone, language: str, day: str) -> None:
    begun.answer_all()
    begun.type_name()
    assert day in words(begun.open(f"check/?l={language}"))


def test_the_hand_in_form_sent_without_its_button_does_nothing(begun: Phone) -> None:
    begun.answer_all()
    begun.type_name()
    assert begun.send("check/", attempt="1").status_code == 200
    assert not Submission.objects.exists()


def test_the_submission_carries_what_was_typed_and_its_day(begun: Phone) -> None:
    submission = begun.take_quiz(month="ago")
    assert submission.birth_date == date(1971, 8, 23)
    assert (submission.right, submission.total, submission.passed) == (7, 7, True)


# --- the result ----------------------------------------------------------------------------------


def test_a_passed_quiz_says_so_first_and_never_says_cleared(begun: Phone) -> None:
    begun.take_quiz()
    page = words(begun.open("result/"))
    assert '<h1><span class="mark" aria-hidden="true"></span>You passed</h1>' in page
    assert "7 of 7 right" in page
    assert "The programme checks that this quiz is yours" in page
    assert "cleared" not in page.lower()
    assert "Take the quiz again" not in page
    assert "Begin" not in words(begun.open())


def test_a_result_is_the_same_whosever_the_quiz_turns_out_to_be(clinician: int) -> None:
    """Nothing at the keyboard tells a right name from a wrong one (design.md, section 3)."""
    matched, strange = (
        Phone(*an_invitation()),
        Phone(*an_invitation(assignment=an_assignment(operation=an_operation()))),
    )
    submission = a_submission(matched.invitation)
    a_submission(strange.invitation, given_names="Nobody", birth_date=date(1950, 1, 1))
    assert submission.decisions.exists()

    def page(phone: Phone) -> str:
        return words(phone.open("result/")).replace(phone.token, "")

    seen = page(matched)
    assert seen == page(strange)
    undo(submission, at=now(), by_id=clinician, reason="A namesake.")
    assert seen == page(matched)


def test_a_failed_quiz_says_what_was_wrong_why_and_where_to_read_it(phone: Phone) -> None:
    submission = a_submission(phone.invitation, wrong=3)
    page = words(phone.open("result/"))
    assert "Not passed yet" in page
    assert "4 of 7 right" in page
    wrong = submission.answers.filter(right=False).select_related("question__section")
    assert wrong.count() == 3
    for answer in wrong:
        assert html(answer.question.stem["en"]) in page
        assert html(answer.question.explanation["en"]) in page
        assert f'href="{phone.link}#{answer.question.section.key}"' in page
        for option in answer.question.options.filter(right=True):
            assert html(option.text["en"]) in page
    assert page.count("This one is about your safety.") == 1
    assert "Take the quiz again" in page


def test_a_failed_quiz_may_be_taken_as_often_as_the_programme_allows() -> None:
    a_programme(attempts_allowed=2)
    phone = Phone(*an_invitation())
    a_submission(phone.invitation, wrong=2)
    assert "Take the quiz again" in words(phone.open())
    assert phone.begin()["Location"] == f"{phone.link}1/"
    assert "Go on with the quiz" in words(phone.open("result/"))
    a_submission(phone.invitation, wrong=2)
    for page in (words(phone.open()), words(phone.open("result/"))):
        assert "Someone from the programme will call you" in page
        assert "(312) 555-0142" in page
        assert 'class="main"' not in page
    assert phone.begin()["Location"] == phone.link
    assert phone.invitation.attempts.count() == 2


def test_a_safety_question_wrong_twice_ends_in_a_call() -> None:
    a_programme(attempts_allowed=9)
    phone = Phone(*an_invitation())
    a_submission(phone.invitation, wrong=7)
    assert "Take the quiz again" in words(phone.open("result/"))
    a_submission(phone.invitation, wrong=7)
    assert "Someone from the programme will call you" in words(phone.open("result/"))
    assert phone.begin()["Location"] == phone.link


# --- languages -----------------------------------------------------------------------------------


def test_the_emailed_link_says_its_language_until_a_cookie_does(phone: Phone) -> None:
    page = phone.open("?l=es")
    assert '<html lang="es">' in words(page)
    assert page["Content-Language"] == "es"
    assert not page.cookies
    response = phone.client.post(f"{phone.link}?l=es", {"begin": "yes"})
    assert response["Location"] == f"{phone.link}1/?l=es"
    assert response.cookies["lang"].value == "es"
    assert response.cookies["lang"]["path"] == "/q/"
    assert '<html lang="es">' in words(phone.open("1/"))


def test_without_a_choice_the_browser_decides(phone: Phone) -> None:
    assert '<html lang="es">' in words(phone.open(HTTP_ACCEPT_LANGUAGE="es-419,es;q=0.8"))
    assert '<html lang="en">' in words(phone.open(HTTP_ACCEPT_LANGUAGE="vi"))


@pytest.mark.parametrize("here", ["", "3/", "3/?back=check", "you/", "check/", "result/"])
def test_the_language_buttons_show_the_same_page_again(begun: Phone, here: str) -> None:
    begun.answer(1)
    response = begun.send("language/", language="es", here=here)
    assert response["Location"] == begun.link + here
    assert response.cookies["lang"].value == "es"
    assert DraftAnswer.objects.count() == 1


@pytest.mark.parametrize(
    "here", ["//evil.example/", "../../", "https://evil.example", "1/\r\nX: y"]
)
def test_the_language_buttons_lead_nowhere_else(begun: Phone, here: str) -> None:
    assert begun.send("language/", language="es", here=here)["Location"] == begun.link


def test_only_the_languages_that_the_edition_has_are_offered() -> None:
    text = (PLAIN / "before_your_operation.toml").read_text()
    english = re.sub(r"(?ms)^\w+\.es = ('''.*?'''|\".*?\")\n", "", text)
    edition = an_edition(english)
    assert edition.languages == ["en"]
    phone = Phone(*an_invitation(assignment=an_assignment(module=edition.module)))
    page = words(phone.open("?l=es", HTTP_ACCEPT_LANGUAGE="es"))
    assert '<html lang="en">' in page
    assert "Español" not in page
    assert "lang" not in phone.send("language/", language="es", here="").cookies


def test_the_page_of_one_patient_does_not_change_the_language_of_the_next(phone: Phone) -> None:
    phone.open("?l=es")
    assert translation.get_language() == "en"


def question_of(phone: Phone, number: int) -> Any:
    return phone.invitation.attempts.get().edition.questions.all()[number - 1]


def html(text: str) -> str:
    """Return a text as Django writes it into a page."""
    for sign, entity in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"), ('"', "&quot;")):
        text = text.replace(sign, entity)
    return text.replace("'", "&#x27;")
