"""Every state of the patient's pages, in every look, by axe; and measured on a small phone."""

from playwright.sync_api import Page, expect

from clinic.demo.people import BY_MRN
from clinic.models import Role
from tests.conftest import PageAt
from tests.journeys.at_the_desk import follow, send_link
from tests.journeys.audit import sideways, too_small, violations
from tests.journeys.conftest import Desk
from tests.journeys.on_the_phone import Phone, link_in, next_mail
from tests.site import RunningSite

EMEKA = BY_MRN["TF-30158"]  # his link was not opened
CONCEPCION = BY_MRN["TF-30110"]  # no attempt left: somebody will call
JOSEPHINE = BY_MRN["TF-30114"]  # her link is too old
WULANDARI = BY_MRN["TF-30113"]  # she eats by her plan


def judge(page: Page, state: str) -> None:
    """No violation, nothing sideways at 320 px, no target under 44 px (promise S6)."""
    found = violations(page)
    wider = sideways(page, 320)
    small = too_small(page, 44, 320) + too_small(page, 44, 360)
    assert (found, wider, small) == ([], 0, []), state


def test_from_the_letter_to_the_result(
    running_site: RunningSite, desk: Desk, page_at: PageAt
) -> None:
    had = len(running_site.mailbox.to(EMEKA.email))
    send_link(desk(Role.DIETITIAN), EMEKA.mrn)
    page = page_at(360)
    phone = Phone(page)
    phone.follow(link_in(next_mail(running_site.mailbox, EMEKA.email, had)))
    judge(page, "the letter")
    phone.begin()
    judged: set[str] = set()
    while page.locator("progress").count():
        asked = phone.asked()
        if asked.kind not in judged:
            judge(page, f"a question, {asked.kind}")
            phone.press(phone.words.save)  # without an answer
            expect(page.locator(".alert")).to_be_focused()
            if asked.kind not in ("several", "true_false"):  # they look the same as one of several
                judge(page, f"a question without its answer, {asked.kind}")
            judged.add(asked.kind)
        phone.answer(wrong=asked.key in ("insulin", "who-calls", "bottles"))
    assert judged >= {"one", "several", "number", "true_false"}

    judge(page, "name and date of birth")
    page.locator("#day").fill("31")
    page.locator("#month").fill("February")
    phone.press(phone.words.go_on)
    expect(page.locator(".alert")).to_be_focused()
    judge(page, "name and date of birth, sent back")
    phone.type_name(EMEKA.given, EMEKA.family, EMEKA.birth_date)
    judge(page, "check before handing in")
    phone.hand_in()
    phone.expect_not_yet()
    judge(page, "not passed yet")
    follow(page.get_by_role("link", name="Back to the lesson"))
    judge(page, "the letter, to take the quiz again")

    phone.press(phone.words.again)
    phone.answer()
    start = page.url.split("/q/")[1].split("/")[0]
    page.goto(f"/q/{start}/you/")
    phone.type_name(EMEKA.given, EMEKA.family, EMEKA.birth_date)
    expect(page.locator(".missing").first).to_be_visible()
    judge(page, "check with answers missing")
    page.goto(f"/q/{start}/")
    judge(page, "the letter, to go on")
    follow(page.get_by_role("button", name="Go on where you stopped"))
    phone.answer_all()
    phone.hand_in()
    phone.expect_passed()
    judge(page, "passed")


def test_no_attempt_left(running_site: RunningSite, page_at: PageAt) -> None:
    page = page_at(360)
    link = link_in(running_site.mailbox.to(CONCEPCION.email)[0])
    page.goto(link)
    expect(page.locator("html")).to_have_attribute("lang", "es")
    judge(page, "the letter in Spanish, no attempt left")
    page.goto(link.replace("/?", "/result/?"))
    judge(page, "not passed, no attempt left")


def test_links_that_do_not_open(running_site: RunningSite, page_at: PageAt) -> None:
    page = page_at(360)
    page.goto(link_in(running_site.mailbox.to(JOSEPHINE.email)[0]))
    expect(page.get_by_role("heading", level=1)).to_have_text("This link is too old")
    judge(page, "too old")
    page.goto("/q/no-such-token/")
    judge(page, "not found")


def test_the_eating_plan(running_site: RunningSite, page_at: PageAt) -> None:
    links = [link_in(mail) for mail in running_site.mailbox.to(WULANDARI.email)]
    page = page_at(360)
    page.goto(next(link for link in links if "/plan/" in link))
    page.get_by_role("button", name="Shake 1").click()
    expect(page.get_by_role("button", name="Shake 1", pressed=True)).to_be_visible()
    follow(page.get_by_role("button", name="Make a calendar link", exact=True))
    judge(page, "the plan, ticked, with its calendar link")
    page.get_by_role("link", name="Choose your days").click()
    for number in (-1, -2):
        page.get_by_role("checkbox").nth(number).check()
    page.get_by_role("button", name="Save my days").click()
    expect(page.locator(".alert")).to_be_focused()
    judge(page, "days of the solid meals, too close or too many")
