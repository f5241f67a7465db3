"""A clearance record that left as FHIR, held against what is stored: whatever differs is named."""

import json
from collections.abc import Callable
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import override_settings

from education.clear import revoke
from education.models import Clearance
from patients.clock import now
from patients.schedule import move
from tests.clinic.evidence.a_record import Story, a_story

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("told")]
Entries = list[dict[str, Any]]


@pytest.fixture(scope="module")
def told(kept_open: None) -> Story:
    return a_story()


@pytest.fixture
def story(told: Story) -> Story:
    return deepcopy(told)


@pytest.fixture
def file(story: Story, tmp_path: Path) -> Path:
    path = tmp_path / "record.json"
    call_command("clearance_record", story.patient.mrn, "--format", "fhir", "--out", str(path))
    return path


def check(file: Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    """Return the exit code and what was printed."""
    capsys.readouterr()
    try:
        call_command("clearance_record", "--check", str(file))
    except SystemExit as ended:
        return int(str(ended.code)), capsys.readouterr().out
    except CommandError as error:
        return error.returncode, str(error)
    return 0, capsys.readouterr().out


def of_type(entries: Entries, kind: str) -> dict[str, Any]:
    found: dict[str, Any] = next(
        one["resource"] for one in entries if one["resource"]["resourceType"] == kind
    )
    return found


def test_what_left_today_agrees_line_by_line(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, said = check(file, capsys)
    count = len(json.loads(file.read_text())["entry"])
    assert code == 0, said
    assert said.count("agrees ") == count
    assert f"{count} of {count} lines agree with what is stored" in said


def test_whatever_was_changed_in_the_file_is_named(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    changes: list[tuple[Callable[[Entries], Any], str]] = [
        (
            lambda entries: of_type(entries, "Procedure").update(performedDateTime="2020-01-01"),
            "performedDateTime: the file 2020-01-01, stored ",
        ),
        (
            lambda entries: of_type(entries, "Procedure").update(status="entered-in-error"),
            "status: the file entered-in-error, stored completed",
        ),
        (lambda entries: of_type(entries, "Patient")["name"].pop(), "name[1]"),
        (
            lambda entries: of_type(entries, "QuestionnaireResponse")["item"].pop(0),
            "DIFFERS        QuestionnaireResponse",
        ),
        (lambda entries: entries.pop(), "NOT IN FILE    Provenance"),
        (
            lambda entries: entries.append({"fullUrl": "urn:x", "resource": {"resourceType": "X"}}),
            "NOT STORED     X",
        ),
    ]
    as_it_left = file.read_text()
    for change, said in changes:
        bundle = json.loads(as_it_left)
        change(bundle["entry"])
        file.write_text(json.dumps(bundle))
        code, told = check(file, capsys)
        assert code == 1, said
        assert said in told


def test_what_was_revoked_or_moved_since_is_named(
    story: Story, file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    held = Clearance.objects.filter(revocation=None)[0]
    revoke(held, reason="Another patient was meant.", at=now(), by_id=story.dietitian.pk)
    move(story.operation, None, at=now(), reason="postponed")
    code, told = check(file, capsys)
    assert code == 1
    assert "status: the file completed, stored entered-in-error" in told
    assert "NOT IN FILE    Provenance  clearance revoked" in told
    assert "DIFFERS        Appointment" in told


def test_of_what_is_no_record_of_ours_nobody_can_tell(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with override_settings(PUBLIC_URL="https://elsewhere.example"):
        code, told = check(file, capsys)
    assert (code, "another installation" in told) == (2, True)
    for content, said in (
        (b"no json", "It is no FHIR in JSON"),
        (b'{"resourceType": "Patient"}', "It is a Patient, no Bundle"),
        (b'{"resourceType": "Bundle", "type": "collection"}', "about 0 patients"),
        (b'{"resourceType": "Bundle", "entry": [{"fullUrl": "x"}]}', "no address or no resource"),
    ):
        file.write_bytes(content)
        code, told = check(file, capsys)
        assert (code, said in told) == (2, True), told
    assert check(file.with_name("nowhere"), capsys)[0] == 2
