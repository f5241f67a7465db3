"""A quiz under a married name: a person decides, the clearance follows, and so does the undoing."""

from playwright.sync_api import expect

from clinic.demo.people import BY_MRN
from clinic.models import Role
from tests.conftest import PageAt
from tests.journeys.at_the_desk import (
    BEFORE,
    NAME,
    answer_on,
    find_operation,
    in_days,
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
    expect(main).to_contain_text("nobody fits in both name and date of birth")
    first = dietitian.locator(".candidate").first
    expect(first).to_contain_text(TAMSIN.mrn)
    expect(first).to_contain_text("date of birth equal")
    expect(first).to_contain_text("family name differs")
    dietitian.get_by_role("button", name="Decide").click()  # without a choice: nothing
    expect(answer_on(dietitian)).to_have_text("Whose quiz is this?")
    first.get_by_role("radio").check()
    dietitian.get_by_label("Note, how you know").fill("Rang her: married in May, was Vance.")
    dietitian.get_by_role("button", name="Decide").click()
    expect(main).to_contain_text("Decided: this is Tamsin Vance’s quiz.")
    expect(main).to_contain_text("cleared")
    decided = dietitian.url

    coordinator = desk(Role.COORDINATOR)
    open_operation(coordinator, TAMSIN.mrn)
    expect(answer_on(coordinator)).to_have_text("Confirm")
    day = on_the_button(in_days(TAMSIN.or_day or 0))
    coordinator.get_by_role("button", name=f"Confirm {day}").click()
    expect(coordinator.get_by_role("status")).to_contain_text("Confirmed for")

    # The undoing: the clearance goes with it, and who confirmed on it is told.
    dietitian.goto(decided)
    dietitian.get_by_text("Undo this decision").click()
    dietitian.get_by_role("button", name="Undo the decision").click()
    expect(main).to_contain_text("Nothing was saved yet")
    dietitian.get_by_label("Reason").fill("She rang back: her sister took it.")
    dietitian.get_by_role("button", name="Undo the decision").click()
    expect(answer_on(dietitian)).to_have_text("Whose quiz is this?")
    expect(main).to_contain_text("decision undone")
    open_record(dietitian, TAMSIN.mrn)
    module = module_on_record(dietitian, BEFORE)
    expect(module).to_contain_text("due")
    expect(module).not_to_contain_text("cleared")
    expect(dietitian.locator("table.history")).to_contain_text("her sister took it")

    coordinator.goto("/operations/")
    again = coordinator.locator(".unsettled tr", has_text=TAMSIN.mrn)
    expect(again).to_contain_text("Confirmed, and no longer clear")
    expect(again).to_contain_text(NAME[Role.COORDINATOR])
    expect(find_operation(coordinator, TAMSIN.mrn)).to_contain_text("Hold")
    open_operation(coordinator, TAMSIN.mrn)
    expect(answer_on(coordinator)).to_have_text("Hold")
    expect(coordinator.get_by_role("main")).to_contain_text("It is no longer clear.")
