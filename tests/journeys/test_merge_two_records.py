"""One person entered twice: the pair is found, merged by a person, and the merge is undone."""

import re

from playwright.sync_api import expect

from clinic.models import Role
from tests.journeys.at_the_desk import NAME, answer_on, find_operation, pair_of
from tests.journeys.conftest import Desk

OLDER, LATER = "TF-30157", "TF-30165"  # parts of clinic/demo/story.py


def test_merge_and_undo(desk: Desk) -> None:
    dietitian = desk(Role.DIETITIAN)
    main = dietitian.get_by_role("main")
    pair = pair_of(dietitian, LATER)
    expect(pair).to_contain_text("family name one letter off")
    expect(pair.get_by_role("row", name=re.compile("^Date of birth"))).to_contain_text("same")
    expect(pair.get_by_role("row", name=re.compile("^Email"))).to_contain_text("differs")
    # The twins of the demo were looked at before.
    apart = dietitian.locator("table", has_text="Kept apart")
    expect(apart).to_contain_text("Twin sisters")

    pair.get_by_role("link", name=re.compile("^Merge")).click()
    expect(answer_on(dietitian)).to_have_text("Merge two records")
    expect(main).to_contain_text("Check two identifiers yourself")
    expect(main).to_contain_text("o.pemberwyck@example.org")
    expect(main).to_contain_text("cancel the one that is not")
    dietitian.get_by_role("link", name=f"Keep MRN {LATER} instead").click()
    expect(dietitian.get_by_role("button", name=f"Merge, and keep MRN {LATER}")).to_be_visible()
    dietitian.get_by_role("link", name=f"Keep MRN {OLDER} instead").click()
    button = dietitian.get_by_role("button", name=f"Merge, and keep MRN {OLDER}")
    button.click()  # without a reason: nothing
    expect(dietitian.locator("#problems")).to_be_focused()
    dietitian.get_by_label("How you know that they are one person").fill(
        "Asked her on the phone: date of birth and street agree."
    )
    button.click()
    expect(answer_on(dietitian)).to_have_text("Ottoline Pemberwick")
    expect(main).to_contain_text("This record speaks for another one too")
    expect(dietitian.locator("section.operation")).to_have_count(2)

    # Whoever asks for the merged record is led to the one that speaks for it.
    coordinator = desk(Role.COORDINATOR)
    expect(find_operation(coordinator, OLDER)).to_have_count(2)

    dietitian.goto("/patients/duplicates/")
    done = dietitian.locator("table", has_text="Merged into it").get_by_role("row")
    row = done.filter(has_text=LATER).first
    expect(row).to_contain_text("date of birth and street agree")
    expect(row).to_contain_text(NAME[Role.DIETITIAN])
    row.get_by_role("link", name=re.compile("^Undo")).click()
    expect(answer_on(dietitian)).to_have_text("Undo a merge")
    dietitian.get_by_label("Reason").fill("They are sisters: two birth certificates.")
    dietitian.get_by_role("button", name="Undo the merge").click()
    expect(main).to_contain_text("are two patients again")
    expect(dietitian.locator("section.operation")).to_have_count(1)
    expect(find_operation(coordinator, LATER)).to_have_count(1)
    # The worker finds them alike again; a person may then keep them apart.
    expect(pair_of(dietitian, LATER)).to_contain_text("Two people")


def test_by_keyboard_alone(desk: Desk) -> None:
    """Keep two apart, and take it back, without a mouse."""
    page = desk(Role.ADMINISTRATOR)
    pair = pair_of(page, LATER)
    pair.locator("summary").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.type("Sisters")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    row = page.locator("table", has_text="Kept apart").get_by_role("row").filter(has_text=LATER)
    expect(row).to_contain_text("Sisters")
    expect(page.get_by_role("status")).to_contain_text("Kept apart as two people")
    row.get_by_role("button").focus()
    page.keyboard.press("Enter")
    expect(row).to_have_count(0)
    expect(pair).to_be_visible()
