"""The plain pages for when the database, or the code, is what failed (promise B7)."""

import socket
import subprocess
import sys
from pathlib import Path

import pytest
from django.db import InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse
from django.test import Client, override_settings
from django.urls import path, reverse

from clinic.health import healthz, readyz
from clinic.models import Role
from patients.open_to import ANYONE, open_to
from tests.clinic.test_settings import PRODUCTION
from tests.factories import signed_in

ROOT = Path(__file__).resolve().parent.parent.parent
PHONE = "555 0134"


@open_to(ANYONE)
def unreachable(request: HttpRequest) -> HttpResponse:
    raise OperationalError("server closed the connection unexpectedly")


@open_to(ANYONE)
def broken_off(request: HttpRequest) -> HttpResponse:
    raise InterfaceError("connection already closed")


@open_to(ANYONE)
def mistaken(request: HttpRequest) -> HttpResponse:
    raise KeyError("x")


@open_to(ANYONE)
def asks_who(request: HttpRequest) -> HttpResponse:
    return HttpResponse(str(request.user))


urlpatterns = [
    path("healthz", healthz),
    path("readyz", readyz),
    path("asks-who/", asks_who),
    path("unreachable/", unreachable),
    path("broken-off/", broken_off),
    path("mistaken/", mistaken),
]
handler404 = "clinic.failures.page_not_found"
handler500 = "clinic.failures.server_error"


@pytest.mark.django_db
@pytest.mark.parametrize("address", ["/no-such-page/", "/patients/987654/"])
def test_what_is_not_there_lets_staff_go_on(address: str) -> None:
    response = signed_in(Role.DIETITIAN).get(address)
    page = response.content.decode()
    assert response.status_code == 404
    assert "There is no such page" in page
    assert f'href="{reverse("all-pages")}"' in page
    assert "link in the email" not in page


def test_what_is_not_there_tells_others_only_that() -> None:
    """Not marked django_db: any query would fail the test."""
    response = Client().get("/no-such-page/")
    assert response.status_code == 404
    assert "Open the link in the email again" in response.content.decode()
    assert "all-pages" not in response.content.decode()


@override_settings(ROOT_URLCONF=__name__)
def test_what_is_not_there_is_told_though_nobody_can_tell_who_asks(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def unanswered(request: HttpRequest) -> None:
        raise OperationalError

    monkeypatch.setattr("django.contrib.auth.middleware.get_user", unanswered)
    response = Client(raise_request_exception=False).get("/no-such-page/")
    assert response.status_code == 404
    assert "Open the link in the email again" in response.content.decode()


@override_settings(ROOT_URLCONF=__name__, PROGRAMME_PHONE=PHONE)
@pytest.mark.parametrize(
    "address, status", [("/unreachable/", 503), ("/broken-off/", 503), ("/mistaken/", 500)]
)
def test_the_page_says_it_plainly_and_needs_no_database(address: str, status: int) -> None:
    """Not marked django_db: any query would fail the test."""
    response = Client(raise_request_exception=False).get(address)
    assert response.status_code == status
    assert PHONE in response.content.decode()
    assert "no-store" in response["Cache-Control"]


@override_settings(ROOT_URLCONF=__name__, PROGRAMME_PHONE="")
def test_an_unknown_phone_number_is_left_out() -> None:
    response = Client(raise_request_exception=False).get("/unreachable/")
    assert "call" not in response.content.decode()


@pytest.mark.parametrize("silent", [False, True])
def test_with_the_database_down_the_answer_takes_no_more_than_a_second(silent: bool) -> None:
    """Against production settings: a port where nothing listens, and one that never answers."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        if silent:
            listener.listen()
        port = listener.getsockname()[1]
        code = (
            "import time, django; django.setup()\n"
            "from django.test import Client\n"
            "client = Client(raise_request_exception=False, SERVER_NAME='clear-by.example.org')\n"
            "from django.conf import settings\n"
            "settings.ROOT_URLCONF = 'tests.clinic.test_failures'\n"
            "client.get('/mistaken/', secure=True)\n"  # loads what the first page loads
            "for path in ('/healthz', '/readyz', *['/asks-who/'] * 4):\n"
            "    if path == '/asks-who/':\n"
            "        client.cookies[settings.SESSION_COOKIE_NAME] = 'a' * 32\n"
            "    started = time.monotonic()\n"
            "    response = client.get(path, secure=True)\n"
            "    print(response.status_code, time.monotonic() - started)\n"
        )
        ended = subprocess.run(
            [sys.executable, "-c", code],
            cwd=ROOT,
            env=PRODUCTION
            | {
                "DJANGO_SETTINGS_MODULE": "clinic.settings",
                "DATABASE_URL": f"postgresql://clinic@127.0.0.1:{port}/clinic",
            },
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )
    lines = [line.split() for line in ended.stdout.strip().splitlines()]
    # The first says that the process lives, whatever becomes of the database.
    assert [status for status, _ in lines] == ["200"] + ["503"] * 5, ended.stderr
    # The middle one: on a busy machine a single one may have waited for the processor.
    assert sorted(float(seconds) for _, seconds in lines)[3] < 1.0
