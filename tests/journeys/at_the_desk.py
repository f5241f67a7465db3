"""What a member of staff does with a browser, in the words that stand on the pages."""

import csv
import io
import re
import time
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from playwright.sync_api import Locator, Page, expect

from clinic.demo.people import PASSWORD, STAFF, TIME_ZONE
from clinic.models import Role

BEFORE = "Before your operation: the all-liquid weeks"
AT_HOME = "Your first weeks at home"
ADDRESS = {role: email for role, _, email in STAFF}
NAME = {role: name for role, name, _ in STAFF}


def today() -> date:
    """The programme's day."""
    return datetime.now(ZoneInfo(TIME_ZONE)).date()


def in_days(days: int) -> date:
    """The programme's day so many days from now."""
    return today() + timedelta(days=days)


def on_the_button(day: date) -> str:
    """A day as the coordinator's pages write it: Tue 4 Aug 2026."""
    return f"{day:%a} {day.day} {day:%b %Y}"


def in_full(day: date) -> str:
    """A day as the dietitian's pages write it: 4 August 2026."""
    return f"{day.day} {day:%B %Y}"


def sign_in(page: Page, role: Role) -> None:
    """Sign in as the member of staff with this role."""
    page.goto("/sign-in/")
    page.get_by_label("Email address").fill(ADDRESS[role])
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("button", name="Sign out")).to_be_visible()


# --- the schedule --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Booked:
    """A patient as the operating-room system has them; all of them invented."""

    mrn: str
    given: str
    family: str
    birth_date: date
    email: str
    or_date: date
    language: str = "English"
    procedure: str = "Sleeve gastrectomy"

    def as_csv(self) -> bytes:
        """A schedule with this one operation."""
        row = {
            "MRN": self.mrn,
            "Last name": self.family,
            "First name": self.given,
            "Date of birth": self.birth_date.isoformat(),
            "Procedure": self.procedure,
            "Surgery date": self.or_date.isoformat(),
            "Email": self.email,
            "Language": self.language,
        }
        text = io.StringIO()
        writer = csv.DictWriter(text, list(row))
        writer.writeheader()
        writer.writerow(row)
        return text.getvalue().encode()


def follow(there: Locator) -> None:
    """Press what leads to another page, and wait until that page is there.

    Before something is read of it at once: whatever waits by itself needs only `click`.
    """
    with there.page.expect_navigation():
        there.click()


def preview_schedule(page: Page, content: bytes) -> None:
    """Give the site a schedule file and look at what it would change."""
    page.goto("/schedule/import/")
    file = {"name": "schedule.csv", "mimeType": "text/csv", "buffer": content}
    page.get_by_label("Schedule file").set_input_files(file)  # type: ignore[arg-type]
    page.get_by_role("button", name="Show what it would change").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("What this file would change")


# --- the dietitian -------------------------------------------------------------------------------


def row_of(page: Page, mrn: str, module: str) -> Locator:
    """The row of a patient's module on the morning list."""
    return page.locator("tr", has_text=f"MRN {mrn}").filter(has_text=module)


def send_link(page: Page, mrn: str, module: str = BEFORE) -> None:
    """Press the row's button on the morning list; whoever is not flagged is searched for."""
    page.goto(f"/morning/?q={mrn}&standing=every")
    row = row_of(page, mrn, module)
    row.get_by_role("button", name=re.compile("^Send link")).click()
    expect(row.get_by_role("status")).to_contain_text("Link on its way")


def open_record(page: Page, mrn: str) -> None:
    """Open a patient's page from the morning list, by their MRN."""
    page.goto(f"/morning/?q={mrn}&standing=every")
    page.locator("tr", has_text=f"MRN {mrn}").first.get_by_role("rowheader").get_by_role(
        "link"
    ).click()
    expect(page.locator("dl.facts").first).to_contain_text(mrn)


def module_on_record(page: Page, title: str) -> Locator:
    """One module on a patient's page."""
    return page.locator("article.module").filter(has=page.get_by_role("heading", name=title))


def pair_of(page: Page, mrn: str) -> Locator:
    """The pair that a record is in, as soon as the worker has found it."""
    pair = page.locator("section.pair", has_text=mrn)
    deadline = time.monotonic() + 90
    page.goto("/patients/duplicates/")
    while not pair.count() and time.monotonic() < deadline:
        page.wait_for_timeout(500)
        page.reload()
    expect(pair).to_have_count(1)
    return pair


# --- the coordinator -----------------------------------------------------------------------------


def find_operation(page: Page, asked: str) -> Locator:
    """Search the operations as a caller says it; the rows that were found."""
    page.goto("/operations/")
    page.get_by_label("Find by name, date of birth or MRN").fill(asked)
    page.get_by_role("button", name="Find").click()
    return page.get_by_role("table", name="Operations and the answer for each").locator("tbody tr")


def open_operation(page: Page, mrn: str) -> None:
    """Open a patient's one operation."""
    rows = find_operation(page, mrn)
    expect(rows).to_have_count(1)
    rows.get_by_role("link").click()


def answer_on(page: Page) -> Locator:
    """The one word that stands first on an operation's page."""
    return page.get_by_role("heading", level=1)
