"""The patient's way on a phone: in Spanish, failed once; and on one device after another."""

import re
from datetime import date

from playwright.sync_api import expect

from clinic.demo.people import BY_MRN
from clinic.models import Role
from tests.conftest import PageAt
from tests.journeys.at_the_desk import BEFORE, module_on_record, open_record, send_link
from tests.journeys.conftest import Desk
from tests.journeys.on_the_phone import Phone, link_in, next_mail
from tests.site import RunningSite

# Both are due, and their links were not opened (clinic/demo/story.py).
PILAR = BY_MRN["TF-30125"]
MARIA = BY_MRN["TF-30121"]


def sent_link(running_site: RunningSite, desk: Desk, mrn: str) -> str:
    """Let the dietitian send a patient the link, and take it out of the mail."""
    address = BY_MRN[mrn].email
    had = len(running_site.mailbox.to(address))
    send_link(desk(Role.DIETITIAN), mrn)
    return link_in(next_mail(running_site.mailbox, address, had))


def test_in_spanish_failed_once_then_passed(
    running_site: RunningSite, desk: Desk, page_at: PageAt
) -> None:
    phone = Phone(page_at(360, locale="en-US"), language="es")
    phone.follow(sent_link(running_site, desk, PILAR.mrn))
    html = phone.page.locator("html")
    # The email is in Spanish, so its link opens in Spanish, whatever the phone speaks.
    expect(html).to_have_attribute("lang", "es")
    expect(phone.page.get_by_role("heading", level=1)).to_have_text(
        "Antes de su operación: las semanas de solo líquidos"
    )
    phone.begin()
    # 10 of 11 are more than the pass mark, but insulin is about safety.
    phone.answer_all(wrong=("insulin",))
    phone.type_name("PILAR", "abeyta", PILAR.birth_date, "agosto")
    phone.hand_in()
    phone.expect_not_yet()
    expect(phone.page.locator(".score")).to_have_text("10 de 11 correctas")
    wrong = phone.page.locator(".wrong")
    expect(wrong).to_have_count(1)
    # Which version is asked depends on the patient; each names the medicine.
    expect(wrong).to_contain_text(re.compile("usa insulina|toma pastillas para la diabetes"))
    expect(wrong).to_contain_text("Llame a su equipo y empiece cuando le hayan dicho qué hacer.")
    expect(wrong.locator(".safety")).to_be_visible()

    wrong.get_by_role("link", name="Leer esta parte").click()  # read that part again, and come back
    expect(phone.page).to_have_url(re.compile("#call-first$"))
    phone.page.go_back()
    phone.press(phone.words.again)
    phone.answer_all()
    phone.type_name("Pilar", "Abeyta", PILAR.birth_date)
    phone.hand_in()
    phone.expect_passed()
    expect(html).to_have_attribute("lang", "es")
    phone.page.reload()
    phone.expect_passed()

    dietitian = desk(Role.DIETITIAN)
    open_record(dietitian, PILAR.mrn)
    expect(module_on_record(dietitian, BEFORE)).to_contain_text("cleared")
    # Lorenzo has the same email address: nothing of this is his.
    open_record(dietitian, BY_MRN["TF-30124"].mrn)
    expect(dietitian.locator("#history ~ table.history")).not_to_contain_text("10 of 11")


def test_another_device_after_every_question(
    running_site: RunningSite, desk: Desk, page_at: PageAt
) -> None:
    """Promise W2: the browser is gone after each question; the link goes on there."""
    link = sent_link(running_site, desk, MARIA.mrn)
    answered: list[str] = []
    total = 11
    while len(answered) < total:
        page = page_at(360)
        phone = Phone(page)
        phone.follow(link)
        if answered:
            button = page.get_by_role("button", name=re.compile("^Go on where you stopped"))
            expect(button).to_contain_text(f"(question {len(answered) + 1} of {total})")
            button.click()
        else:
            phone.begin()
        expect(page.locator(".progress")).to_contain_text(f"{len(answered) + 1} of {total}")
        key = phone.answer()
        assert key not in answered
        answered.append(key)
        page.context.close()

    page = page_at(360)
    page.goto(link)
    page.get_by_role("button", name="Go on where you stopped (your name)").click()
    phone = Phone(page)
    phone.type_name("Maria", "Gonzalez", date(1991, 11, 2))
    expect(page.locator(".missing")).to_have_count(0)
    expect(page.locator("dl.rows > div")).to_have_count(2 + total)
    # What was typed is in this browser only: another one has all answers, and asks for the name.
    other = page_at(360)
    other.goto(f"{link.split('?')[0]}check/")
    expect(other.get_by_role("heading", level=1)).to_have_text("Your name and date of birth")
    expect(other.locator("#given_names")).to_have_value("")
    phone.hand_in()
    phone.expect_passed()
    expect(page.locator(".score")).to_have_text(f"{total} of {total} right")
    # The other device, at last: the same result, and nothing to hand in a second time.
    other.reload()
    Phone(other).expect_passed()
