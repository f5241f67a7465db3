"""Fixtures for the journeys: who sits before the site, and what no page may do on the way."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, ConsoleMessage, Page, Request, Response, expect

from clinic.models import Role
from tests.conftest import PageAt
from tests.journeys.at_the_desk import sign_in
from tests.site import RunningSite

Desk = Callable[..., Page]

# A busy machine may take its time; what never comes still fails.
PATIENCE = 20_000  # milliseconds
expect.set_options(timeout=PATIENCE)


class Watch:
    """What pages of the site did that no page may do (promise T2).

    That is: break the content security policy, ask another host for anything, or answer with a
    server error. Chromium says on the console what its policy refused, with JavaScript off too.
    """

    def __init__(self, site: RunningSite) -> None:
        self._own = (f"{site.url}/", "data:")
        self.seen: list[str] = []

    def over(self, context: BrowserContext) -> None:
        """Watch every page of a browser context."""
        context.on("console", self._console)
        context.on("request", self._request)
        context.on("response", self._response)
        context.on("weberror", lambda error: self.seen.append(f"script: {error.error}"))

    def _console(self, message: ConsoleMessage) -> None:
        if "Content Security Policy" in message.text:
            self.seen.append(message.text)

    def _request(self, asked: Request) -> None:
        if not asked.url.startswith(self._own):
            self.seen.append(f"another host: {asked.url}")

    def _response(self, answered: Response) -> None:
        if answered.status >= 500:
            self.seen.append(f"{answered.status}: {answered.url}")


@pytest.fixture
def page_at(page_at: PageAt, running_site: RunningSite) -> Iterator[PageAt]:
    """Opens pages of the site, and fails the journey for what no page may do."""
    watch = Watch(running_site)

    def open_page(width: int, **context: Any) -> Page:
        page = page_at(width, base_url=running_site.url, **context)
        page.set_default_timeout(PATIENCE)
        watch.over(page.context)
        return page

    yield open_page
    assert watch.seen == []


@pytest.fixture(scope="session")
def signed_in_before() -> dict[Role, Any]:
    """The cookies of each role that has signed in: once is enough, it takes a second."""
    return {}


@pytest.fixture
def desk(page_at: PageAt, signed_in_before: dict[Role, Any]) -> Desk:
    """Opens a browser in which a member of staff is signed in."""

    def sit_down(role: Role, width: int = 1280, **context: Any) -> Page:
        page = page_at(width, storage_state=signed_in_before.get(role), **context)
        if role not in signed_in_before:
            sign_in(page, role)
            signed_in_before[role] = page.context.storage_state()
        return page

    return sit_down
