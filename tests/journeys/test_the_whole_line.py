"""From the schedule to the confirmed OR date: the job, once through, with all three users."""

import re
from datetime import date

import pytest
from playwright.sync_api import expect

from clinic.models import Role
from tests.conftest import PageAt
from tests.journeys.at_the_desk import (
    AT_HOME,
    BEFORE,
    NAME,
    Booked,
    answer_on,
    find_operation,
    in_days,
    module_on_record,
    on_the_button,
    open_operation,
    open_record,
    preview_schedule,
    row_of,
    today,
)
from tests.journeys.conftest import Desk
from tests.journeys.on_the_phone import Phone, link_in, next_mail
from tests.mailbox import Received
from tests.site import RunningSite

# Both modules are due within the programme's notice: 14 and 7 days before an OR date in 16.
OR_DAY = 16
NERYS = Booked(
    "TF-40001",
    "Nérys-Ann",
    "O’Quillfeather",
    date(1984, 2, 29),
    "nerys.q@example.org",
    in_days(OR_DAY),
)
TORVALD = Booked(
    "TF-40002",
    "Torvald",
    "Müller Hinds",
    date(1970, 11, 8),
    "torvald.mh@example.org",
    in_days(OR_DAY),
)
# How each of them types it: other case, accents, signs and order of words.
TYPED = {NERYS.mrn: ("nerys ann", "OQUILLFEATHER"), TORVALD.mrn: ("TORVALD MULLER", "hinds")}


@pytest.mark.parametrize(
    "patient, width, script",
    [
        pytest.param(NERYS, 1280, True, id="staff at 1280 px"),
        pytest.param(TORVALD, 360, False, id="staff at 360 px, no JavaScript anywhere"),
    ],
)
def test_from_the_schedule_to_the_confirmed_date(
    running_site: RunningSite,
    desk: Desk,
    page_at: PageAt,
    patient: Booked,
    width: int,
    script: bool,
) -> None:
    coordinator = desk(Role.COORDINATOR, width, java_script_enabled=script)

    # The schedule: the preview writes nothing, the button does.
    preview_schedule(coordinator, patient.as_csv())
    expect(coordinator.get_by_role("main")).to_contain_text("1 created")
    preview = coordinator.url
    expect(find_operation(coordinator, patient.mrn)).to_have_count(0)
    expect(coordinator.get_by_role("main")).to_contain_text("No patient fits")
    coordinator.goto(preview)
    coordinator.get_by_role("button", name="Apply this 1 change").click()
    expect(coordinator.get_by_role("heading", level=1)).to_have_text("Imported")
    open_operation(coordinator, patient.mrn)
    expect(answer_on(coordinator)).to_have_text("Hold")
    expect(coordinator.get_by_role("button", name=re.compile("^Confirm"))).to_have_count(0)

    # The dietitian: both modules are on the list; each row has its button.
    dietitian = desk(Role.DIETITIAN, width, java_script_enabled=script)
    dietitian.goto("/")
    expect(dietitian).to_have_url(re.compile("/morning/$"))
    for title in (BEFORE, AT_HOME):
        row = row_of(dietitian, patient.mrn, title)
        expect(row).to_contain_text("due")
        expect(row).to_contain_text("not invited yet")
        row.get_by_role("button", name="Send link").click()
        expect(row.get_by_role("status")).to_contain_text(f"on its way to {patient.given}")

    # The patient: two mails, one link in each, and a quiz behind each link.
    for had, (title, last) in enumerate(((BEFORE, 11), (AT_HOME, 10))):
        mail = next_mail(running_site.mailbox, patient.email, had)
        says_nothing_about(mail, patient)
        phone = Phone(page_at(360, java_script_enabled=script))
        phone.follow(link_in(mail))
        is_one_of(phone, (BEFORE, AT_HOME))
        phone.begin()
        count = phone.answer_all()
        assert count in (last, 21 - last), title
        phone.type_name(*TYPED[patient.mrn], patient.birth_date, f"{patient.birth_date:%B}".upper())
        expect(phone.page.locator("dl.rows > div")).to_have_count(2 + count)
        phone.hand_in()
        phone.expect_passed()
        expect(phone.page.locator(".score")).to_have_text(f"{count} of {count} right")
        # Promise W1: 25 taps for ten questions, which is two for each and five around them.
        assert phone.taps <= 5 + 2 * count

    # The dietitian: off the list but for the eating plan, and the record says on what evidence.
    dietitian.goto("/morning/")
    for title in (BEFORE, AT_HOME):
        expect(row_of(dietitian, patient.mrn, title)).to_have_count(0)
    plan = dietitian.locator("tr", has_text=f"MRN {patient.mrn}")
    expect(plan).to_contain_text("medicines not asked about")
    open_record(dietitian, patient.mrn)
    for title in (BEFORE, AT_HOME):
        module = module_on_record(dietitian, title)
        expect(module).to_contain_text("cleared")
        expect(module).to_contain_text("quiz passed")
    history = dietitian.locator("#history ~ table.history")
    expect(history).to_contain_text("matched automatically")

    # The coordinator: confirm, by the answer of this minute.
    open_operation(coordinator, patient.mrn)
    expect(answer_on(coordinator)).to_have_text("Confirm")
    day = on_the_button(patient.or_date)
    coordinator.get_by_role("button", name=f"Confirm {day}", exact=True).click()
    expect(coordinator.get_by_role("status")).to_contain_text(f"Confirmed for {day}.")
    expect(coordinator.locator(".booking-line")).to_contain_text("confirmed")
    expect(coordinator.locator(".booking-line")).to_contain_text(NAME[Role.COORDINATOR])
    expect(coordinator.get_by_role("button", name=f"Confirm {day}", exact=True)).to_have_count(0)


def says_nothing_about(mail: Received, patient: Booked) -> None:
    """The mail gives away neither who it is about nor that they are a patient (promise W10)."""
    message = mail.message
    assert "To" in message
    assert message["To"].addresses[0].addr_spec == patient.email
    shown = [str(message["Subject"]), str(message["From"]), mail.text]
    html = message.get_body(("html",))
    shown.append(str(html.get_content()) if html else "")
    year = str(patient.birth_date.year)
    for word in (patient.given, patient.family, patient.mrn, year, str(today().year + 1)):
        assert not [text for text in shown if word.lower() in text.lower()]


def is_one_of(phone: Phone, titles: tuple[str, ...]) -> None:
    """The letter is one of these modules: mails may overtake each other."""
    assert phone.page.get_by_role("heading", level=1).inner_text() in titles
