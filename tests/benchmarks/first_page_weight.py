"""What a patient's pages weigh on the wire, against promise W8.

    .venv/bin/python tests/benchmarks/first_page_weight.py

Publishes the starter modules into a throw-away database, collects the static files as production
does, and asks for each page and for all that it names, once, as a browser with an empty cache
does. Counted are headers and compressed bodies. Ends with the number of pages over their limit.
"""

import gzip
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent.parent
FIRST_LIMIT, LATER_LIMIT = 60_000, 20_000  # bytes
REQUEST_LIMIT = 8

# The settings read the environment when they are imported, so this comes before anything of ours.
_data = tempfile.TemporaryDirectory(prefix="clear-by-weight-")
os.environ |= {"CLINIC_DATA_DIR": _data.name, "DJANGO_SETTINGS_MODULE": "clinic.settings"}
os.environ["LOG_LEVEL"] = "ERROR"
sys.path.insert(0, str(ROOT))
for _command in (["migrate", "--verbosity=0"], ["collectstatic", "--noinput", "--verbosity=0"]):
    subprocess.run([sys.executable, str(ROOT / "manage.py"), *_command], check=True)

import django  # noqa: E402

django.setup()

from django.test import Client  # noqa: E402

from clinic.demo.beside import with_pictures  # noqa: E402
from education.publish import publish  # noqa: E402
from education.rules.module_text import read_module  # noqa: E402
from patients.clock import now  # noqa: E402
from tests.factories import (  # noqa: E402
    STARTER,
    a_programme,
    a_submission,
    an_assignment,
    an_invitation,
    an_operation,
)


def main() -> int:
    """Print a line for each page; return how many are over a limit."""
    return sum(
        measure(path.read_text(), f"{path.stem} ({language})", language)
        for path in sorted(STARTER.glob("*.toml"))
        for language in ("en", "es")
    )


def measure(text: str, name: str, language: str) -> int:
    """Measure the pages of one module in one language, with the pictures of the demo.

    Counted as part of the first view, though a browser fetches them when they are reached.
    """
    a_programme()
    edition = publish(with_pictures(read_module(text), at=now()), at=now())
    assignment = an_assignment(operation=an_operation(), module=edition.module)
    invitation, token = an_invitation(assignment=assignment)
    client = Client(
        headers={"accept-encoding": "gzip, br", "accept-language": language, "host": "localhost"}
    )
    link = f"/q/{token}/"
    first = client.get(link)
    assets = [client.get(address) for address in sorted(named_by(first))]
    over = told(f"{name}: first page", [first, *assets], FIRST_LIMIT)
    a_submission(invitation, wrong=7)
    over += told(f"{name}: result", [client.get(f"{link}result/")], LATER_LIMIT)
    client.post(link, {"begin": "yes"})
    for page in ("3/", "you/"):
        over += told(f"{name}: {page}", [client.get(link + page)], LATER_LIMIT)
    return over


def named_by(page: Any) -> set[str]:
    """Return the addresses that a browser fetches for a page."""
    html = gzip.decompress(page.content).decode()
    return set(
        re.findall(r'(?:<link rel="stylesheet" href|<img[^>]* src|<script src)="([^"]+)"', html)
    )


def wire_bytes(response: Any) -> int:
    """Return the bytes of a response: its headers, and its body as it was compressed."""
    assert response.status_code == 200, response
    head = sum(len(f"{key}: {value}\r\n") for key, value in response.items())
    body = response.getvalue() if response.streaming else response.content
    return head + len(body)


def told(title: str, responses: list[Any], limit: int) -> int:
    """Print one line; return 1 if it is over a limit, else 0."""
    measured = sum(map(wire_bytes, responses))
    over = measured > limit or len(responses) > REQUEST_LIMIT
    requests = f"{len(responses)} request" + "s" * (len(responses) > 1)
    print(f"{measured:7,} of {limit:,} bytes in {requests}, {title}{'  OVER' if over else ''}")
    return int(over)


if __name__ == "__main__":
    sys.exit(main())
