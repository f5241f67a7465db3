"""A quiz under a married name: a person decides, the clearance follows, and so does the undoing."""

import re

from playwright.sync_api import expect

from clinic.demo.people import BY_MRN
from clinic.models import Role
from tests.conftest import PageAt
from tests.journeys.at_the_desk import (
    ADDRESS,
    BEFORE,
    NAME,
    answer_on,
    find_operation,
    in_days,
    in_full,
    module_on_record,
    on_the_button,
    open_operation,
    open_record,
    row_of,
    send_link,
)
from tests.journeys.conftest import Desk
from tests.journeys.on_the_phone import Phone, link_in, next_mail
from tests.site import RunningSite

TAMSIN = BY_MRN["TF-30106"]  # due, cleared for the other module (clinic/demo/story.py)


def test_decide_and_undo(running_site: RunningSite, desk: Desk, page_at: PageAt) -> None:
    dietitian = desk(Role.DIETITIAN)
    had = len(running_site.mailbox.to(TAMSIN.email))
    send_link(dietitian, TAMSIN.mrn)
    phone = Phone(page_at(360))
    phone.follow(link_in(next_mail(running_site.mailbox, TAMSIN.email, had)))
    phone.begin()
    phone.answer_all()
    phone.type_name("Tamsin", "Ormerod-Pike", TAMSIN.birth_date)
    phone.hand_in()
    phone.expect_passed()  # the patient is told about the quiz, not about whose it is

    # Nobody is cleared on a guess: the row asks for a decision.
    dietitian.goto("/morning/")
    row = row_of(dietitian, TAMSIN.mrn, BEFORE)
    expect(row).to_contain_text("whose it is has not been decided")
    row.get_by_role("link", name="Decide whose quiz it is").click()
    expect(answer_on(dietitian)).to_have_text("Whose quiz is this?")
    main = dietitian.get_by_role("main")
    expect(main).to_contain_text("It fits nobody on the register in both name and date of birth")
    beside = dietitian.get_by_role("table", name=re.compile("^Candidates beside what Tamsin"))
    first = beside.locator(".c1")
    for part in ("Tamsin = equal", "Vance ≠ differs", "= this patient"):
        expect(first.filter(has_text=part)).to_have_count(1)
    expect(first.filter(has_text=f"OR date {in_full(in_days(TAMSIN.or_day or 0))}")).to_have_count(
        1
    )

    # She rings first, and leaves what she found out for whoever looks next.
    note = dietitian.get_by_label("Note: how you know, or what you found out")
    note.fill("No answer at noon.")
    dietitian.get_by_role("button", name=re.compile("^Leave it, with this note")).click()
    expect(dietitian.get_by_role("status")).to_contain_text("still waits for a decision")
    dietitian.get_by_role("link", name="Tamsin Ormerod-Pike").first.click()
    expect(main).to_contain_text("No answer at noon.")
    decide = dietitian.get_by_role("button", name=re.compile("^Decide"))
    decide.click()  # without a choice: nothing
    expect(answer_on(dietitian)).to_have_text("Whose quiz is this?")
    search = dietitian.get_by_label("Nobody here fits? Search the register")
    search.fill("Nobody-Atall")
    search.press("Enter")  # searches, and decides nothing
    expect(main).to_contain_text("Nobody else on the register is found by “Nobody-Atall”.")
    expect(answer_on(dietitian)).to_have_text("Whose quiz is this?")
    beside.get_by_role("radio", name=re.compile(TAMSIN.mrn)).check()
    note.fill("Rang her: married in May, was Vance.")
    decide.click()
    said = dietitian.get_by_role("status")
    expect(said).to_contain_text(f"the quiz of Tamsin Vance, MRN {TAMSIN.mrn}")
    expect(said).to_contain_text(": cleared by it.")
    expect(answer_on(dietitian)).to_contain_text("for a decision")  # at the next one

    coordinator = desk(Role.COORDINATOR)
    open_operation(coordinator, TAMSIN.mrn)
    expect(answer_on(coordinator)).to_have_text("Confirm")
    day = on_the_button(in_days(TAMSIN.or_day or 0))
    coordinator.get_by_role("button", name=f"Confirm {day}").click()
    expect(coordinator.get_by_role("status")).to_contain_text("Confirmed for")

    # The undoing: the clearance goes with it, and who confirmed on it is told.
    told = len(running_site.mailbox.to(ADDRESS[Role.COORDINATOR]))
    said.get_by_role("link", name="Undo").click()
    expect(main).to_contain_text(f"{NAME[Role.COORDINATOR]} will be told")
    dietitian.get_by_role("button", name="Undo the decision").click()
    expect(main).to_contain_text("Nothing was saved yet")
    dietitian.get_by_label("Reason").fill("She rang back: her sister took it.")
    dietitian.get_by_role("button", name="Undo the decision").click()
    expect(answer_on(dietitian)).to_have_text("Whose quiz is this?")
    expect(main).to_contain_text("decision undone")
    expect(said).to_contain_text(
        f"Told by email, because of a confirmed OR date: {NAME[Role.COORDINATOR]}"
    )
    open_record(dietitian, TAMSIN.mrn)
    module = module_on_record(dietitian, BEFORE)
    expect(module).to_contain_text("due")
    expect(module).not_to_contain_text("cleared")
    expect(dietitian.locator("#history ~ table.history")).to_contain_text("her sister took it")

    mail = next_mail(running_site.mailbox, ADDRESS[Role.COORDINATOR], told)
    assert "Tamsin" not in mail.raw.decode()
    coordinator.goto(re.findall(r"https?://\S+", mail.text)[0])
    expect(answer_on(coordinator)).to_have_text("Operations")
    again = coordinator.locator(".unsettled tr", has_text=TAMSIN.mrn)
    expect(again).to_contain_text("Confirmed, and no longer clear")
    expect(again).to_contain_text(NAME[Role.COORDINATOR])
    expect(find_operation(coordinator, TAMSIN.mrn)).to_contain_text("Hold")
    open_operation(coordinator, TAMSIN.mrn)
    expect(answer_on(coordinator)).to_have_text("Hold")
    expect(coordinator.get_by_role("main")).to_contain_text("It is no longer clear.")
