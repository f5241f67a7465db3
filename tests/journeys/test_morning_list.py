"""The dietitian's ten minutes: the row answers, the button acts, and one is back at the row."""

import re

import pytest
from playwright.sync_api import expect

from clinic.demo.people import BY_MRN
from clinic.models import Role
from tests.journeys.at_the_desk import BEFORE, NAME, module_on_record, open_record, row_of
from tests.journeys.conftest import Desk
from tests.site import RunningSite

# Parts of clinic/demo/story.py.
CORDELL = BY_MRN["TF-30104"]  # late, never invited
IGNATIUS = BY_MRN["TF-30102"]  # cleared late, needs sign-off
CLEMENTINE = BY_MRN["TF-30126"]  # due, and the mail server refuses the address
OLUWASEUN = BY_MRN["TF-30131"]  # late, not opened
KATARZYNA = BY_MRN["TF-30134"]  # late, not opened
GWENDOLYN = BY_MRN["TF-30132"]  # date passed, still open
RUTHANNE = BY_MRN["TF-30117"]  # no email


@pytest.mark.parametrize("width", [1280, 360])
def test_log_a_contact_and_be_back_at_the_row(desk: Desk, width: int) -> None:
    page = desk(Role.DIETITIAN, width)
    page.goto("/morning/?standing=late")  # the filter is in the address, and survives the act
    row = row_of(page, CORDELL.mrn, BEFORE)
    row.get_by_role("link", name="Log a contact").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Log a contact")
    expect(page.get_by_role("main")).to_contain_text(CORDELL.phone)
    # Nothing chosen: what is wrong stands first and has the focus, what was typed is kept.
    page.get_by_label("Note").fill("Rang twice.")
    page.get_by_role("button", name="Log this contact").click()
    expect(page.locator("#problems")).to_be_focused()
    expect(page.get_by_label("Note")).to_have_value("Rang twice.")
    page.get_by_label("Outcome").select_option("No answer")
    page.get_by_role("button", name="Log this contact").click()
    identity = row.get_attribute("id")
    expect(page).to_have_url(re.compile(rf"/morning/\?standing=late#{identity}$"))
    expect(row.get_by_role("status")).to_contain_text("Logged for Cordell Hathersage: no answer.")
    expect(row).to_contain_text("no answer")
    expect(row).to_be_in_viewport()


def test_send_to_several_and_take_back_within_the_minute(
    running_site: RunningSite, desk: Desk
) -> None:
    page = desk(Role.DIETITIAN)
    page.goto("/morning/")
    people = (OLUWASEUN, KATARZYNA)
    had = [len(running_site.mailbox.to(person.email)) for person in people]
    for person in (*people, RUTHANNE):
        row_of(page, person.mrn, BEFORE).get_by_role("checkbox").check()
    page.get_by_role("button", name="Send link to those ticked").click()
    # It says how many and who, and who cannot, and asks once.
    expect(page.get_by_role("heading", level=1)).to_have_text("Send 2 links?")
    main = page.get_by_role("main")
    for person in people:
        expect(main).to_contain_text(person.email)
    expect(main).to_contain_text("Cannot be sent: 1")
    expect(main).to_contain_text("no email address on file")
    page.get_by_role("button", name="Send 2 links").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("2 links go out in a minute")
    page.reload()  # sends nothing again
    expect(page.get_by_role("heading", level=1)).to_have_text("2 links go out in a minute")
    page.get_by_role("button", name="Take 2 back").click()
    expect(main).to_contain_text("2 taken back: no email goes out.")
    expect(main.get_by_text("withdrawn, not sent")).to_have_count(2)
    expect(page.get_by_role("button", name=re.compile("^Take"))).to_have_count(0)
    assert had == [len(running_site.mailbox.to(person.email)) for person in people]


def test_the_first_row_by_keyboard_alone(desk: Desk) -> None:
    page = desk(Role.DIETITIAN)
    page.goto("/morning/")
    act = (
        page.locator("table.list tbody tr")
        .first.locator("td.next")
        .locator("button, a.btn, summary")
    )
    act = act.first
    expect(act).to_have_text("Call, then log it")  # no email address, and the last day for it
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()
    page.keyboard.press("Enter")
    presses = 0
    while not act.evaluate("act => act === document.activeElement"):
        page.keyboard.press("Tab")
        presses += 1
        assert presses <= 25, "the first row's button is too far away"
        ring = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        shadow = page.evaluate("getComputedStyle(document.activeElement).boxShadow")
        assert ring != "none" or shadow != "none", "the focus cannot be seen"
    page.keyboard.press("Enter")
    row = page.locator("table.list tbody tr").first
    row.get_by_role("button", name="No answer").focus()
    page.keyboard.press("Enter")
    expect(row.get_by_role("status")).to_contain_text("no answer")
    expect(page).to_have_url(re.compile(r"#row-\d+$"))


def test_a_refused_mail_offers_the_telephone(desk: Desk) -> None:
    page = desk(Role.DIETITIAN)
    page.goto("/morning/?mail=failed")
    row = row_of(page, CLEMENTINE.mrn, BEFORE)
    expect(row).to_contain_text("email failed")
    expect(row.get_by_role("link", name=CLEMENTINE.phone).first).to_be_visible()
    row.get_by_text("Call, then log it").click()
    row.get_by_role("button", name="Left a message").click()
    expect(row.get_by_role("status")).to_contain_text("left a message")


def test_a_clinician_signs_off(desk: Desk) -> None:
    dietitian = desk(Role.DIETITIAN)
    dietitian.goto("/morning/?standing=needs_sign_off")
    waiting = row_of(dietitian, IGNATIUS.mrn, BEFORE)
    expect(waiting).to_contain_text("after the clear-by date")
    expect(waiting).to_contain_text("a clinician signs off")
    expect(waiting.locator("td.next").locator("summary, button")).to_have_count(0)

    clinician = desk(Role.CLINICIAN)
    clinician.goto("/morning/")
    row = row_of(clinician, IGNATIUS.mrn, BEFORE)
    row.locator("summary", has_text="Sign off").click()
    row.get_by_label("Reason").fill("Started the liquids on the right day, by her own diary.")
    row.get_by_role("button", name="Sign off this late clearance").click()
    expect(clinician.get_by_role("status").first).to_contain_text("Signed off for Ignatius Obuya.")
    expect(row_of(clinician, IGNATIUS.mrn, BEFORE)).to_have_count(0)
    open_record(clinician, IGNATIUS.mrn)
    module = module_on_record(clinician, BEFORE)
    expect(module).to_contain_text("cleared")
    expect(module).to_contain_text("late, but signed off by a clinician")
    history = clinician.locator("#history ~ table.history")
    expect(history).to_contain_text(NAME[Role.CLINICIAN])


def test_the_counts_open_the_list_behind_them(desk: Desk) -> None:
    page = desk(Role.DIETITIAN)
    for name, heading in (
        (re.compile("list the submissions"), re.compile("submissions? waits? for a decision")),
        (re.compile("list the operations"), re.compile("^Operations$")),
    ):
        page.goto("/morning/")
        page.get_by_role("link", name=name).click()
        expect(page.get_by_role("heading", level=1)).to_have_text(heading)
    # Gwendolyn's date has passed, and nobody has said what happened.
    expect(page.get_by_role("heading", name="The date has passed, still open")).to_be_visible()
    expect(page.get_by_role("main")).to_contain_text(GWENDOLYN.mrn)
