"""The first command of the README, as a person meets it."""

import contextlib
import os
import re
import signal
import subprocess
import sys
import time
import urllib.request
from email.utils import parseaddr
from pathlib import Path

import pytest

from clinic.children import Children
from tests.conftest import PageAt
from tests.servers import free_port
from tests.site import OURS, ROOT, STARTING, RunningSite
from tests.site import answers as site_answers


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


def processes_on(data: Path) -> list[str]:
    """The command lines of the processes that run on a data folder, as Linux's /proc has them."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        # A process may end, or turn out to be someone else's, while we look.
        with contextlib.suppress(OSError):
            if f"CLINIC_DATA_DIR={data}\0".encode() in (folder / "environ").read_bytes():
                found.append((folder / "cmdline").read_text().replace("\0", " "))
    return found


def test_serve_founds_a_programme_runs_it_and_ends_without_leaving_a_process(
    tmp_path: Path,
) -> None:
    port = free_port()
    env = {name: value for name, value in os.environ.items() if name not in OURS} | {
        "CLINIC_DATA_DIR": str(tmp_path),
        "CLINIC_ADMIN_PASSWORD": "quiet-harbour-lamp",
    }
    answers = {
        "--name": "Hill programme",
        "--time-zone": "America/Chicago",
        "--phone": "312-555-0100",
        "--admin-name": "Ada Lake",
        "--admin-email": "ada@example.org",
    }
    command = [sys.executable, str(ROOT / "manage.py"), "serve", "--port", str(port)]
    with Children() as children:
        child = children.start(
            "serve",
            [*command, *(part for answer in answers.items() for part in answer)],
            log=tmp_path / "serve.log",
            env=env,
        )
        deadline = time.monotonic() + STARTING
        while not site_answers(f"http://127.0.0.1:{port}"):
            said = (tmp_path / "serve.log").read_text()
            assert child.process.poll() is None, said
            assert time.monotonic() < deadline, said
            time.sleep(0.2)
        assert len(processes_on(tmp_path)) >= 4  # serve, web, worker, beat
        child.process.send_signal(signal.SIGINT)
        assert child.process.wait(30) == 0
        assert processes_on(tmp_path) == []
    assert "Traceback" not in (tmp_path / "serve.log").read_text()


def test_serve_names_every_answer_that_it_lacks_when_nobody_can_be_asked(tmp_path: Path) -> None:
    answer = subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), "serve", "--name", "Hill programme"],
        env={name: value for name, value in os.environ.items() if name not in OURS}
        | {"CLINIC_DATA_DIR": str(tmp_path)},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    assert answer.returncode == 1
    last = answer.stderr.strip().splitlines()[-1]
    for option in ("--time-zone", "--phone", "--admin-name", "--admin-email"):
        assert option in last
    assert "Traceback" not in answer.stderr


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
