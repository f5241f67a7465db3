"""The coordinator's answer: found as a caller says it, given with its reasons, never stale."""

import re
from datetime import date

import pytest
from playwright.sync_api import expect

from clinic.demo.people import BY_MRN
from clinic.models import Role
from tests.journeys.at_the_desk import (
    BEFORE,
    NAME,
    answer_on,
    find_operation,
    in_days,
    on_the_button,
    open_operation,
    row_of,
)
from tests.journeys.conftest import Desk

# Parts of clinic/demo/story.py.
DELPHINE = BY_MRN["TF-30101"]  # cleared in time
ROSARIO = BY_MRN["TF-30105"]  # late
HARLAN = BY_MRN["TF-30109"]  # late: failed twice, needs a visit
QUENTIN = BY_MRN["TF-30147"]  # cleared, as usual
AURELIO = BY_MRN["TF-30145"]  # confirmed for a day soon; cleared more than 80 days ago


def days(number: int | None) -> date:
    """The OR date of somebody who has one."""
    assert number is not None
    return in_days(number)


@pytest.mark.parametrize(
    "asked, width",
    [
        pytest.param("arceneaux delphine", 1280, id="name, in any order and case"),
        pytest.param("Árceneaux", 1280, id="a part of the name, with an accent too many"),
        pytest.param("12 Mar 1974", 1280, id="date of birth"),
        pytest.param("TF-30101", 1280, id="MRN"),
        pytest.param("delphine", 360, id="at 360 px"),
    ],
)
def test_find_as_a_caller_says_it(desk: Desk, asked: str, width: int) -> None:
    page = desk(Role.COORDINATOR, width)
    rows = find_operation(page, asked)
    expect(rows).to_have_count(1)
    expect(rows).to_contain_text("Confirm")
    expect(rows).to_contain_text("Delphine Arceneaux-Whitby")
    expect(rows).to_contain_text(on_the_button(days(DELPHINE.or_day)))


def test_the_answer_at_360_px(desk: Desk) -> None:
    page = desk(Role.COORDINATOR, 360)
    open_operation(page, ROSARIO.mrn)
    answer = answer_on(page)
    expect(answer).to_have_text("Hold")
    expect(answer).to_be_in_viewport()
    expect(page.get_by_text(re.compile(r"^Asked at .*\d\d:\d\d")).first).to_be_visible()
    why = page.locator("ul.why").first
    expect(why).to_contain_text("late")
    expect(why).to_contain_text(BEFORE)
    response = page.reload()
    assert response is not None
    assert "no-store" in str(response.header_value("cache-control"))


def test_confirm_against_a_hold(desk: Desk) -> None:
    page = desk(Role.COORDINATOR)
    open_operation(page, HARLAN.mrn)
    expect(answer_on(page)).to_have_text("Hold")
    expect(page.locator("ul.why").first).to_contain_text("needs a visit")
    page.get_by_text("Confirm against the hold", exact=True).click()
    press = page.get_by_role("button", name=re.compile("against the hold$"))
    page.get_by_label("The clinician’s reason").fill("Bleeding; cannot wait for the quiz.")
    # Chromium would not send the form without the name; the server must not need it to.
    page.locator("form").evaluate_all("forms => forms.forEach(form => form.noValidate = true)")
    press.click()
    expect(page.locator("[role=alert]")).to_be_focused()
    expect(page.locator("[role=alert]")).to_contain_text("Name the clinician")
    reason = page.get_by_label("The clinician’s reason")
    expect(reason).to_have_value("Bleeding; cannot wait for the quiz.")
    page.get_by_label("Clinician who decided").fill("Dr. Solveig Marchetti")
    press.click()
    line = page.locator(".booking-line")
    expect(line).to_contain_text("Confirmed against a hold by Dr. Solveig Marchetti")
    expect(line).to_contain_text("Bleeding; cannot wait for the quiz.")
    # It stays visible, also in the list, and the answer stays what it is.
    expect(answer_on(page)).to_have_text("Hold")
    row = find_operation(page, HARLAN.mrn)
    expect(row).to_contain_text("against a hold")
    expect(row).to_contain_text("Dr. Solveig Marchetti")


def test_a_page_older_than_the_record_is_refused(desk: Desk) -> None:
    """Promise S4: two people, one operation; both versions are shown."""
    first = desk(Role.COORDINATOR)
    second = desk(Role.CLINICIAN)
    now, then = on_the_button(days(QUENTIN.or_day)), on_the_button(in_days(40))
    for page in (first, second):
        open_operation(page, QUENTIN.mrn)
    # In the demo a date is confirmed a week before: this one is not yet.
    expect(first.get_by_role("button", name=f"Confirm {now}")).to_be_visible()

    second.get_by_role("link", name="Move or postpone").click()
    second.get_by_label("New OR date").fill(in_days(40).isoformat())
    second.get_by_role("button", name="Show what this would do").click()
    second.get_by_label("Reason").fill("The surgeon is away that week.")
    second.get_by_role("button", name=f"Move to {then}").click()
    expect(second.get_by_role("status")).to_contain_text(f"Moved to {then}.")

    first.get_by_role("button", name=f"Confirm {now}").click()
    expect(answer_on(first)).to_have_text("This changed while you looked")
    expect(first.get_by_role("main")).to_contain_text("Nothing was saved")
    expect(first.get_by_role("region", name="What you saw")).to_contain_text(now)
    expect(first.get_by_role("region", name="What it is now")).to_contain_text(then)
    first.get_by_role("link", name="Open the operation as it is now").click()
    expect(first.get_by_role("main")).to_contain_text("Nobody has confirmed a date")
    expect(first.locator(".booking-line")).to_contain_text("proposed")


def test_move_a_date_and_see_what_it_does(desk: Desk) -> None:
    page = desk(Role.COORDINATOR)
    open_operation(page, AURELIO.mrn)
    operation = page.url
    now, then = on_the_button(days(AURELIO.or_day)), on_the_button(in_days(21))
    expect(page.locator(".booking-line")).to_contain_text("confirmed")
    page.get_by_role("link", name="Move or postpone").click()
    page.get_by_role("button", name="Show what this would do").click()
    expect(page.locator("[role=alert]")).to_contain_text("Give the new OR date")

    page.get_by_label("New OR date").fill(in_days(21).isoformat())
    page.get_by_role("button", name="Show what this would do").click()
    would = page.get_by_role("region", name="the answer would be")
    expect(would.locator(".answer")).to_have_text("Hold")
    expect(would).to_contain_text("The confirmation goes")
    module = would.locator("tr", has_text=BEFORE)
    expect(module).to_contain_text("the earlier clearance is too old for this OR date")
    # Looking wrote nothing.
    page.goto(operation)
    expect(page.locator(".answer-for")).to_contain_text(f"{days(AURELIO.or_day):%B %Y}")
    expect(page.locator(".booking-line")).to_contain_text("confirmed")

    page.get_by_role("link", name="Move or postpone").click()
    page.get_by_label("New OR date").fill(in_days(21).isoformat())
    page.get_by_role("button", name="Show what this would do").click()
    page.get_by_label("Reason").fill("The theatre is closed that day.")
    page.get_by_role("button", name=f"Move to {then}").click()
    expect(page.get_by_role("status")).to_contain_text(f"Moved to {then}.")
    expect(answer_on(page)).to_have_text("Hold")
    expect(page.locator(".booking-line")).to_contain_text("proposed")
    plan = page.locator("table.plans tbody tr").first
    expect(plan).to_contain_text(f"{now} → {then}")
    expect(plan).to_contain_text(NAME[Role.COORDINATOR])
    expect(plan).to_contain_text("The theatre is closed that day.")

    dietitian = desk(Role.DIETITIAN)
    dietitian.goto("/morning/")
    row = row_of(dietitian, AURELIO.mrn, BEFORE)
    expect(row).to_contain_text("due")
    expect(row).to_contain_text("the earlier clearance is too old for this OR date")
    expect(row).to_contain_text(f"in {21} days")
    expect(row.get_by_role("button", name=re.compile("^Send link"))).to_be_visible()
