"""`manage.py import_messages`: the words and the exit codes (the counts: test_intake.py)."""

from contextlib import nullcontext
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from patients.clock import now
from patients.models import IntakeMessage, Operation
from tests.factories import a_procedure, a_programme
from tests.hl7_messages import siu

pytestmark = pytest.mark.django_db
SENT = datetime(2026, 6, 1, 12, tzinfo=UTC)


def said(*paths: Path, apply: bool = False, code: int = 0) -> str:
    """Run the command; it must end with the exit code."""
    out = StringIO()
    with pytest.raises(SystemExit, match=f"^{code}$") if code else nullcontext():
        call_command("import_messages", *map(str, paths), apply=apply, stdout=out)
    return out.getvalue()


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A file with a message that can be taken in."""
    a_programme(at=now() - timedelta(days=30))
    a_procedure()
    path = tmp_path / "night.hl7"
    path.write_bytes(siu(sent=SENT, on=now() + timedelta(days=40)))
    return path


def test_it_previews_unless_told_to_apply(file: Path) -> None:
    shown = said(file)
    assert "Messages in night.hl7 1:  created 1  updated 0  unchanged 0  rejected 0" in shown
    assert "new patient; new operation: Sleeve gastrectomy, OR date" in shown
    assert "Nothing was written: this is a preview." in shown
    assert not IntakeMessage.objects.exists()
    assert "created 1" in said(file, apply=True)
    assert Operation.objects.count() == 1
    assert "nothing to change" not in said(file), "it was applied before, and says so"
    assert "unchanged 1" in said(file)


def test_what_is_rejected_is_told_with_place_reason_and_fix(file: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.hl7"
    other.write_bytes(
        siu(control_id="2", mrn="")
        + siu(control_id="3", sent=SENT, on="", mrn="M3", case="C3")
        + siu(control_id="4", replaced={"SIU^S12": "ADT^A01"})
    )
    shown = said(file, other, apply=True, code=1)
    assert "Messages in other.hl7 3:  created 0  updated 0  unchanged 0  rejected 3" in shown
    assert "Of the rejected, 1 wait on the intake page." in shown
    assert "PID-3: It is not in the message. Ask whoever runs the scheduling system" in shown
    assert "The message speaks of a booking and gives no date." in shown
    assert "“ADT” is no scheduling message." in shown
    assert [line[:8] for line in shown.splitlines() if ": rejected." in line] == [
        "  line 1",
        "  line 8",
        "  line 1",
    ]


@pytest.mark.parametrize(
    "content", [b"", b"MRN,Name\n1,x\n", b"PK\x03\x04", b"<x/>", b"\x00" * 100, b"MSH|" * 3]
)
def test_another_file_is_refused(tmp_path: Path, content: bytes) -> None:
    """Fault 26: by what is in it, whatever its name says."""
    a_programme()
    path = tmp_path / "renamed.hl7"
    path.write_bytes(content)
    if content.startswith(b"MSH"):
        assert "rejected 1" in said(path, code=1)
        return
    with pytest.raises(CommandError, match="cannot be read as a schedule message"):
        said(path)
