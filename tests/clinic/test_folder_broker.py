"""The embedded mode's broker, between two processes: no message is taken before it is whole."""

import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings
from kombu import Connection
from kombu.transport.virtual import BrokerState

from clinic.folder_broker import Transport

MESSAGES = 3000
PUT = """
import sys
from kombu import Connection
from clinic import celery_app
with Connection("folder://localhost//", transport_options={
    "data_folder_in": sys.argv[1], "data_folder_out": sys.argv[1], "control_folder": sys.argv[2],
}) as connection:
    queue = connection.SimpleQueue("celery")
    for number in range(int(sys.argv[3])):
        queue.put({"number": number, "text": "x" * 2000})
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A broker's folder; what is taken is moved through the temporary folder beside it."""
    for name in ("messages", "control", "taken"):
        (tmp_path / name).mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "taken"))
    # What Kombu remembers of bindings is of another test's folder.
    monkeypatch.setattr(Transport, "global_state", BrokerState())
    return tmp_path


def connect(folder: Path) -> Connection:
    """A connection to the broker in this folder."""
    return Connection(
        "folder://localhost//",
        transport_options={
            "data_folder_in": str(folder / "messages"),
            "data_folder_out": str(folder / "messages"),
            "control_folder": str(folder / "control"),
            "polling_interval": 0.001,
        },
    )


def test_settings_use_it() -> None:
    assert settings.CELERY_BROKER_URL.startswith("folder://")


def test_a_reader_never_sees_half_a_message(folder: Path) -> None:
    command = [sys.executable, "-c", PUT, str(folder / "messages"), str(folder / "control")]
    with subprocess.Popen([*command, str(MESSAGES)]) as writer, connect(folder) as connection:
        queue = connection.SimpleQueue("celery")
        numbers = []
        for _ in range(MESSAGES):
            message = queue.get(timeout=30)
            numbers.append(message.payload["number"])
            message.ack()
        assert writer.wait(30) == 0
    assert sorted(numbers) == list(range(MESSAGES))


@pytest.mark.parametrize("broken", [b"", b'{"body": "abc'])
def test_half_a_message_ends_nobody(folder: Path, broken: bytes) -> None:
    (folder / "messages" / "1_cut-off.celery.msg").write_bytes(broken)
    with connect(folder) as connection:
        queue = connection.SimpleQueue("celery")
        queue.put({"number": 7})
        assert queue.get(timeout=10).payload == {"number": 7}
