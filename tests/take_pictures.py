"""Take the README's pictures anew: `.venv/bin/python -m tests.take_pictures`.

Starts a demo of its own in a temporary folder, and photographs one page of each user.
"""

import re
import tempfile
from pathlib import Path

from playwright.sync_api import Page, ViewportSize, sync_playwright

from tests import chromium
from tests.site import RunningSite, running_site

PICTURES = Path(__file__).parent / "pictures"
DESK = ViewportSize(width=1280, height=900)
PHONE = ViewportSize(width=360, height=740)


def main() -> None:
    """Write morning.png, answer.png and question.png."""
    with (
        tempfile.TemporaryDirectory() as folder,
        running_site(Path(folder)) as site,
        sync_playwright() as playwright,
    ):
        browser = playwright.chromium.launch(
            executable_path=chromium.find(), args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        desk = browser.new_page(viewport=DESK)
        sign_in(desk, site, "dietitian")
        take(desk, "morning")
        coordinator = browser.new_page(viewport=DESK)
        sign_in(coordinator, site, "coordinator")
        coordinator.goto(f"{site.url}/operations/")
        row = coordinator.locator("tr", has_text="Confirm").last
        coordinator.goto(site.url + str(row.locator("a").first.get_attribute("href")))
        take(coordinator, "answer")
        phone = browser.new_page(viewport=PHONE)
        for received in reversed(site.mailbox.received):
            found = re.search(r"http\S+/q/\S+", received.text)
            if found and begin(phone, found[0]):
                take(phone, "question")
                break
        browser.close()


def sign_in(page: Page, site: RunningSite, role: str) -> None:
    """Sign in with the login that the demo printed for a role."""
    printed = (site.data / "demo.log").read_text()
    _, email, password = next(
        line for line in map(str.split, printed.splitlines()) if line[:1] == [role]
    )
    page.goto(f"{site.url}/sign-in/")
    page.fill("input[name=username]", email)
    page.fill("input[name=password]", password)
    page.click("main button[type=submit]")


def begin(page: Page, link: str) -> bool:
    """Follow a link and begin the quiz; False where it cannot be begun any more."""
    page.goto(link)
    button = page.locator("main button", has_text="Begin the questions")
    if not button.count():
        return False
    button.click()
    return True


def take(page: Page, name: str) -> None:
    """Photograph what a person sees without scrolling."""
    page.screenshot(path=PICTURES / f"{name}.png")


if __name__ == "__main__":
    main()
