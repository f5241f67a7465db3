"""Promise T3: logs tell where something went wrong and never about whom."""

import io
import json
import logging
import logging.config
import os
import subprocess
import sys
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from celery import Celery
from django.conf import settings
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.test import Client, override_settings
from django.urls import path

from clinic.discreet_logging import DiscreetFormatter, DiscreetJson, blot
from patients.open_to import ANYONE, open_to

ROOT = Path(__file__).resolve().parent.parent.parent
# The canary: if any of these is found in a log, a patient's fact got out.
NAME = "Canaria Finchley"
BORN = "1961-04-23"
TOKEN = "Zk3vQm81pXo0RrTt5uWw7yYb9cCdDeEfFgGhHiIjJkK"
CANARIES = (NAME, "Canaria", "Finchley", BORN, TOKEN)


@pytest.fixture
def log() -> Iterator[io.StringIO]:
    """Everything that any logger writes, as the settings format it."""
    written = io.StringIO()
    handler = logging.StreamHandler(written)
    handler.setFormatter(DiscreetFormatter())
    root = logging.getLogger()
    root.addHandler(handler)
    yield written
    root.removeHandler(handler)


def assert_discreet(text: str) -> None:
    for canary in CANARIES:
        assert canary not in text


@open_to(ANYONE)
def failing_view(request: HttpRequest, token: str = "") -> HttpResponse:
    patient_name = NAME
    raise ValueError(f"no such patient: {patient_name}, {request.POST.get('born', BORN)}")


@open_to(ANYONE)
def failing_query(request: HttpRequest) -> HttpResponse:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT '{NAME}' FROM no_such_table WHERE born = '{BORN}'")
    return HttpResponse()


urlpatterns = [
    path("q/<str:token>/fail/", failing_view),
    path("fail/", failing_view),
    path("query/", failing_query),
]
handler500 = "clinic.failures.server_error"


@pytest.mark.django_db
@override_settings(ROOT_URLCONF=__name__)
@pytest.mark.parametrize(
    "address, status",
    [
        (f"/q/{TOKEN}/fail/", 500),
        (f"/q/{TOKEN}/gone/", 404),
        (f"/q/{TOKEN}", 404),
        (f"/fail/?q={NAME}", 500),
        (f"/nowhere/?q={NAME}&born={BORN}", 404),
        (f"/invitation/{TOKEN}/", 404),
        ("/query/", 503),  # SQLite calls a missing table an operational error
    ],
)
def test_a_failing_request_leaves_no_fact_and_no_token(
    log: io.StringIO, address: str, status: int
) -> None:
    client = Client(raise_request_exception=False)
    response = client.post(address, {"name": NAME, "born": BORN})
    if address != "/query/" or connection.vendor == "sqlite":
        assert response.status_code == status
    assert_discreet(log.getvalue())
    assert_discreet(response.content.decode())
    assert "django.request" in log.getvalue()
    if status == 500:
        assert "ValueError" in log.getvalue()
        assert "in failing_view" in log.getvalue()
        assert f'File "{__file__}", line ' in log.getvalue()


def test_an_exceptions_causes_are_named_without_their_messages(log: io.StringIO) -> None:
    try:
        try:
            raise KeyError(NAME)
        except KeyError as first:
            raise RuntimeError(f"for {BORN}") from first
    except RuntimeError:
        logging.getLogger("education").exception("Scoring failed")
    assert "Scoring failed\nKeyError\n" in log.getvalue()
    assert "RuntimeError" in log.getvalue()
    assert_discreet(log.getvalue())


def test_as_json_each_record_is_one_object_with_an_instant_of_rfc_3339() -> None:
    written = io.StringIO()
    handler = logging.StreamHandler(written)
    handler.setFormatter(DiscreetJson())
    log = logging.Logger("education.send")
    log.addHandler(handler)
    log.warning("GET /q/%s/?q=%s\nturned away", TOKEN, "Finchley", extra={"request": NAME})
    try:
        raise ValueError(NAME)
    except ValueError as error:
        log.exception("Not sent: %s", error)
    assert_discreet(written.getvalue())
    turned_away, not_sent = map(json.loads, written.getvalue().splitlines())
    assert turned_away["message"] == "GET /q/***/?***\nturned away"
    assert (turned_away["level"], turned_away["logger"]) == ("WARNING", "education.send")
    assert datetime.fromisoformat(turned_away["at"]).utcoffset() == timedelta(0)
    assert not_sent["message"] == "Not sent: ValueError"
    assert f'File "{__file__}", line ' in not_sent["where"]


def test_an_exception_given_as_an_argument_is_only_named(log: io.StringIO) -> None:
    error = ValueError(NAME)
    logging.getLogger("patients").warning("Row refused: %s", error)
    logging.getLogger("patients").warning(error)
    assert log.getvalue().count("ValueError") == 2
    assert_discreet(log.getvalue())


@pytest.mark.parametrize(
    "line, expected",
    [
        (f"Not Found: /q/{TOKEN}/3/", "Not Found: /q/***/3/"),
        (f'"GET /q/{TOKEN} HTTP/1.1" 200 12', '"GET /q/*** HTTP/1.1" 200 12'),
        (f"see https://clinic.example/q/{TOKEN}/", "see https://clinic.example/q/***/"),
        ("/q/short/x/", "/q/***/x/"),
        ("GET /patients/?q=Finchley&page=2 HTTP/1.1", "GET /patients/?*** HTTP/1.1"),
        (f"/set-password/Mg/{TOKEN}/", "/set-password/Mg/***/"),
        ("Really? Yes.", "Really? Yes."),
        ("/patients/17/", "/patients/17/"),
    ],
)
def test_addresses_are_blotted(line: str, expected: str) -> None:
    assert blot(line) == expected


def test_a_failing_task_logs_neither_its_message_nor_its_arguments(log: io.StringIO) -> None:
    """Through Celery's own tracer, the one that a worker uses."""
    app = Celery("canary", broker="memory://", set_as_current=False)

    @app.task(name="canary.fail")
    def fail(name: str) -> None:
        raise ValueError(f"cannot send to {name}")

    @app.task(name="canary.answer")
    def answer(name: str) -> str:
        return name

    fail.apply(args=(NAME,), throw=False)
    answer.apply(args=(NAME,), throw=False)
    assert "Task canary.fail" in log.getvalue()
    assert "ValueError" in log.getvalue()
    assert "Task canary.answer" in log.getvalue()
    assert_discreet(log.getvalue())


def test_a_process_that_crashes_logs_type_and_place_only() -> None:
    code = (
        "import logging, logging.config, threading\n"
        "from clinic.discreet_logging import log_uncaught_exceptions\n"
        "from django.conf import settings\n"
        "import django; django.setup()\n"
        "log_uncaught_exceptions()\n"
        "def fail(): raise ValueError('Canaria Finchley')\n"
        "thread = threading.Thread(target=fail); thread.start(); thread.join()\n"
        "fail()\n"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env=os.environ | {"DJANGO_SETTINGS_MODULE": "clinic.settings"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert ended.returncode == 1
    assert ended.stderr.count("ValueError") == 2
    assert_discreet(ended.stderr)


def test_nobody_is_mailed_a_traceback_and_only_stderr_is_written_to() -> None:
    assert settings.ADMINS == []
    config: dict[str, Any] = settings.LOGGING
    assert [handler["class"] for handler in config["handlers"].values()] == [
        "logging.StreamHandler"
    ]
    for name in ("django", "django.request", "django.server", "django.security"):
        assert logging.getLogger(name).handlers == []
