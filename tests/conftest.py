"""Fixtures for every test."""

import gc
import os
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from typing import Any, Protocol

import pytest
from django.core.management.color import Style
from django.core.management.commands import flush as flush_command
from django.db import connection, transaction
from hypothesis import HealthCheck, settings
from playwright.sync_api import Browser, Page, ViewportSize, sync_playwright
from pytest_django import DjangoDbBlocker, Settings

from patients.append_only import create_statements, drop_statements
from tests import chromium, mailbox, servers, site

# Django fills them after each migrate, with what kinds of records there are.
FROM_THE_START = ("django_content_type", "auth_permission")
HEIGHTS = {360: 740, 1280: 900}

# A slow machine is no fault of a rule: two of everything run on it at once.
settings.register_profile(
    "check", deadline=None, suppress_health_check=[HealthCheck.too_slow], print_blob=True
)
settings.load_profile("check")


def pytest_collection_finish() -> None:
    """Spares looking for garbage among the tests too, as clinic/apps.py does among the rest."""
    gc.collect()
    gc.freeze()


class PageAt(Protocol):
    """Opens a page of a width; `context` is what Playwright's Browser.new_context takes."""

    def __call__(self, width: int, **context: Any) -> Page: ...


@pytest.fixture(autouse=True, scope="session")
def flush_may_empty_append_only_tables() -> Iterator[None]:
    """Lets the flush after a transactional test delete what the product never may.

    On SQLite a flush is a row of DELETEs, which the triggers refuse; on PostgreSQL it is TRUNCATE,
    which they do not see. What is there since the tables are stays, and is not made anew each time.
    """
    flush = connection.ops.sql_flush

    def flush_of_records(
        style: Style, tables: Sequence[str], *args: Any, **kwargs: Any
    ) -> list[str]:
        statements = flush(style, [t for t in tables if t not in FROM_THE_START], *args, **kwargs)
        if connection.vendor != "sqlite":
            return statements
        return [*drop_statements(connection), *statements, *create_statements(connection)]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(connection.ops, "sql_flush", flush_of_records)
        patch.setattr(flush_command, "emit_post_migrate_signal", lambda *_, **__: None)
        yield


@pytest.fixture(scope="module")
def kept_open(
    django_db_setup: None, django_db_blocker: DjangoDbBlocker, django_test_environment: None
) -> Iterator[None]:
    """One transaction for a whole file: what a fixture of the file writes in it is made once.

    Each test runs in a savepoint of it and takes back what it wrote itself. Not for files with
    tests that commit. Fixtures that are asked for by some tests alone would be seen by others, or
    not, as the tests are dealt out: let every test of the file use them.
    """
    with django_db_blocker.unblock(), transaction.atomic():
        yield
        transaction.set_rollback(True)


@pytest.fixture
def smtp_server(settings: Settings) -> Iterator[mailbox.Mailbox]:
    """A real mail server, and Django set to send through it."""
    with mailbox.smtp_server() as box:
        settings.EMAIL_BACKEND = "education.mail_server.Backend"
        settings.EMAIL_HOST = box.host
        settings.EMAIL_PORT = box.port
        yield box


@pytest.fixture(scope="session")
def valkey_url() -> Iterator[str]:
    """The redis:// address of a real Valkey: the one of the whole check, or one of our own."""
    if os.environ.get("TEST_REDIS_URL"):
        yield os.environ["TEST_REDIS_URL"]
        return
    with servers.valkey() as address:
        yield address


@pytest.fixture(scope="session")
def chromium_path() -> str:
    """The path of a Chromium; without one the test fails, it is never skipped."""
    found = chromium.find()
    if found is None:
        pytest.fail(chromium.MISSING, pytrace=False)
    return found


@pytest.fixture(scope="session")
def browser(chromium_path: str) -> Iterator[Browser]:
    """A running Chromium."""
    # Playwright's loop runs in this thread, where Django would refuse every query.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"
    with sync_playwright() as playwright:
        # Root may not use Chromium's sandbox, and small machines have a small /dev/shm.
        running = playwright.chromium.launch(
            executable_path=chromium_path, args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        yield running
        running.close()


@pytest.fixture
def page_at(browser: Browser) -> Iterator[PageAt]:
    """Opens a page of the given width (360 a phone, 1280 a desk); each has its own cookies."""
    with ExitStack() as opened:

        def open_page(width: int, **context: Any) -> Page:
            size = ViewportSize(width=width, height=HEIGHTS.get(width, 900))
            own = opened.enter_context(
                browser.new_context(viewport=size, has_touch=width < 600, **context)
            )
            page = own.new_page()
            page.set_default_timeout(10_000)
            return page

        yield open_page


@pytest.fixture(scope="session")
def running_site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[site.RunningSite]:
    """The demo, started as a person starts it, sending to a real mail server."""
    with site.running_site(tmp_path_factory.mktemp("site")) as running:
        yield running
