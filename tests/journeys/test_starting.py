"""The first command of the README, as a person meets it."""

import re
import subprocess
import sys
import urllib.request
from email.utils import parseaddr

import pytest

from tests.conftest import PageAt
from tests.site import ROOT, RunningSite


def test_demo_says_where_it_runs_how_to_sign_in_and_what_to_try(running_site: RunningSite) -> None:
    said = (running_site.data / "demo.log").read_text()
    assert f"It runs at  {running_site.url}/" in said
    for role in ("dietitian", "clinician", "coordinator", "administrator", "auditor"):
        assert re.search(rf"^  {role} +\S+@\S+ +\S+$", said, re.MULTILINE), role
    assert all(f"  {number}. " in said for number in (1, 2, 3))
    assert "Ctrl-C ends it." in said
    assert "Traceback" not in said


def test_a_second_demo_on_the_same_data_is_told_so(running_site: RunningSite) -> None:
    answer = subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), "demo"],
        env=running_site.env,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert answer.returncode == 1
    assert f"running already on this data folder, at {running_site.url}" in answer.stderr
    assert answer.stderr.count("\n") == 1


@pytest.mark.parametrize("width", [360, 1280])
def test_the_first_page_opens_without_complaint(
    running_site: RunningSite, page_at: PageAt, width: int
) -> None:
    page = page_at(width)
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    response = page.goto(running_site.url)
    assert response is not None
    assert response.status == 200
    assert page.locator("h1").count() == 1
    assert complaints == []  # a breach of the content security policy is one of these


def test_static_files_come_compressed_with_a_hash_in_their_names(
    running_site: RunningSite, page_at: PageAt
) -> None:
    page = page_at(1280)
    page.goto(running_site.url)
    sheet = page.locator("link[rel=stylesheet]").first.get_attribute("href")
    assert sheet is not None
    assert re.search(r"\.[0-9a-f]{12}\.css$", sheet)
    request = urllib.request.Request(
        running_site.url + sheet, headers={"Accept-Encoding": "br, gzip"}
    )
    with urllib.request.urlopen(request) as answer:
        assert answer.headers["Content-Encoding"] == "br"
        assert "immutable" in answer.headers["Cache-Control"]


def test_the_scenarios_mails_reached_the_mail_server(running_site: RunningSite) -> None:
    """As the standard library's RFC 5322 parser reads them."""
    assert running_site.mailbox.received
    for one in running_site.mailbox.received:
        assert parseaddr(one.message["From"])[1]
        assert one.message["Message-ID"]
        assert running_site.url in one.text
