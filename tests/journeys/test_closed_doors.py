"""Links that have ended, pages that are not for everyone, and signing in."""

import re

from playwright.sync_api import Page, expect

from clinic.demo.people import BY_MRN, PHONE
from clinic.models import Role
from tests.conftest import PageAt
from tests.journeys.at_the_desk import ADDRESS, AT_HOME, send_link
from tests.journeys.conftest import Desk
from tests.journeys.on_the_phone import Phone, link_in, next_mail
from tests.site import RunningSite

ESTELA = BY_MRN["TF-30154"]  # in Spanish; the second module is under way
JOSEPHINE = BY_MRN["TF-30114"]  # taught long ago, before her OR date moved
HIDDEN = [
    fact
    for who in (ESTELA, JOSEPHINE)
    for fact in (who.given, who.family, who.mrn, who.phone, who.email)
]


def test_a_replaced_link_says_what_to_do(
    running_site: RunningSite, desk: Desk, page_at: PageAt
) -> None:
    dietitian = desk(Role.DIETITIAN)
    had = len(running_site.mailbox.to(ESTELA.email))
    send_link(dietitian, ESTELA.mrn, AT_HOME)
    old = link_in(next_mail(running_site.mailbox, ESTELA.email, had))
    page = page_at(360)
    page.goto(old)
    begun = page.url
    send_link(dietitian, ESTELA.mrn, AT_HOME)
    new = link_in(next_mail(running_site.mailbox, ESTELA.email, had + 1))
    assert old != new

    page.locator("form.onward button").click()  # on the page that was open already
    tells_whom_to_call(page, "Este enlace ya no sirve")
    response = page.goto(old)
    assert response is not None
    assert response.status == 410
    tells_whom_to_call(page, "Este enlace ya no sirve")
    assert begun.startswith(old.split("?")[0])
    page.goto(new)
    expect(page.locator("form.onward button")).to_be_visible()


def test_an_old_link_says_what_to_do(running_site: RunningSite, page_at: PageAt) -> None:
    # The demo's first mail to her is 82 days old, and a link is good for 60.
    mails = running_site.mailbox.to(JOSEPHINE.email)
    page = page_at(360)
    response = page.goto(link_in(mails[0]))
    assert response is not None
    assert response.status == 410
    tells_whom_to_call(page, "This link is too old")
    expect(page.get_by_role("main")).to_contain_text("You can ask for a new one.")


def test_a_link_that_was_cut_off(running_site: RunningSite, page_at: PageAt) -> None:
    page = page_at(360)
    response = page.goto("/q/4Yw1bY8m-not-a-link/")
    assert response is not None
    assert response.status == 404
    expect(page.get_by_role("heading", level=1)).to_have_text("There is no such page")
    expect(page.get_by_role("link", name=PHONE).first).to_be_visible()
    assert page.context.cookies() == []


def tells_whom_to_call(page: Page, heading: str) -> None:
    """The page has a telephone number and no fact about a patient (promise W6)."""
    expect(page.get_by_role("heading", level=1)).to_have_text(heading)
    expect(page.get_by_role("link", name=PHONE).first).to_be_visible()
    text = page.content()
    assert [fact for fact in HIDDEN if fact in text] == []


def test_opening_a_link_sets_no_cookie(
    running_site: RunningSite, desk: Desk, page_at: PageAt
) -> None:
    had = len(running_site.mailbox.to(BY_MRN["TF-30155"].email))
    send_link(desk(Role.DIETITIAN), "TF-30155")
    link = link_in(next_mail(running_site.mailbox, BY_MRN["TF-30155"].email, had))
    page = page_at(360)
    for _ in range(3):
        page.goto(link)
    assert page.context.cookies() == []
    Phone(page).begin()
    assert [cookie for cookie in page.context.cookies() if "session" in cookie["name"]] == []


def test_a_page_for_another_role_is_refused(desk: Desk) -> None:
    for role, address in (
        (Role.DIETITIAN, "/trail/"),
        (Role.COORDINATOR, "/staff/"),
        (Role.AUDITOR, "/schedule/import/"),
    ):
        page = desk(role)
        response = page.goto(address)
        assert response is not None
        assert response.status == 403
        expect(page.get_by_role("heading", level=1)).to_have_text("This page is not open to you")


def test_signing_in_and_out(page_at: PageAt) -> None:
    page = page_at(1280)
    page.goto("/morning/?standing=late")
    expect(page).to_have_url(re.compile("/sign-in/"))
    page.get_by_label("Email address").fill(ADDRESS[Role.DIETITIAN].upper())
    page.get_by_label("Password").fill("not her password")
    page.get_by_role("button", name="Sign in").click()
    alert = page.locator("[role=alert]")
    expect(alert).to_contain_text("do not fit together")
    expect(alert).to_be_focused()
    expect(page.get_by_label("Email address")).to_have_value(ADDRESS[Role.DIETITIAN].upper())
    expect(page.get_by_label("Password")).to_have_value("")

    page.get_by_label("Password").fill("sunday-soup-pot")
    page.get_by_role("button", name="Sign in").click()
    expect(page).to_have_url(re.compile(r"/morning/\?standing=late$"))  # where one was going
    cookies = {cookie["name"]: cookie for cookie in page.context.cookies()}
    session = cookies["sessionid"]
    # OWASP ASVS 5.0, chapter 3.3: not for scripts, not sent along from other sites. `Secure` is
    # set where the site is on https (tests/clinic/test_settings.py): the demo is not.
    assert session["httpOnly"] is True
    assert session["sameSite"] == "Lax"
    assert session["path"] == "/"

    page.get_by_role("button", name="Sign out").click()
    page.goto("/morning/")
    expect(page).to_have_url(re.compile("/sign-in/"))
    # The old cookie is worth nothing after signing out.
    page.context.add_cookies([session])  # type: ignore[list-item]
    page.goto("/morning/")
    expect(page).to_have_url(re.compile("/sign-in/"))
