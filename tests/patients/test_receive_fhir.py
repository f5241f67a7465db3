"""FHIR bundles as files: the command previews and applies them like every other schedule."""

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
import time_machine
from django.core.management import call_command

from patients.import_messages import apply, preview
from patients.models import IntakeMessage, Operation
from patients.receive_fhir import receive
from patients.rules.schedule_changes import Verdict
from tests.factories import a_procedure, a_programme
from tests.fhir_bundles import TO_COME as AT
from tests.fhir_bundles import a_bundle, a_patient, a_request, an_appointment

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def while_the_appointment_is_to_come(db: None) -> Iterator[None]:
    with time_machine.travel(AT):
        a_programme(at=AT)
        a_procedure()
        yield


def a_week() -> bytes:
    """Three operations: one is right, one contradicts itself, one has half a birth date."""
    return a_bundle(
        a_patient(),
        an_appointment(),
        a_patient(id="p2", identifier=[{"value": "MRN-2"}], birthDate="1975-06-07"),
        an_appointment(
            id="a2",
            identifier=[{"value": "CASE-2"}],
            participant=[{"actor": {"reference": "Patient/p2"}, "status": "accepted"}],
        ),
        a_request(
            id="s2",
            identifier=[{"value": "CASE-2"}],
            subject={"reference": "Patient/p2"},
            occurrenceDateTime="2027-04-08",
        ),
        a_patient(id="p3", identifier=[{"value": "MRN-3"}], birthDate="1975"),
        a_request(id="s3", identifier=[{"value": "CASE-3"}], subject={"reference": "Patient/p3"}),
    )


def test_s5_operations_in_the_file_are_created_or_rejected_and_a_preview_writes_nothing() -> None:
    shown = preview(a_week(), at=AT)
    assert (shown.counts[Verdict.CREATED], shown.counts[Verdict.REJECTED]) == (1, 2)
    assert sum(shown.counts.values()) == len(shown.lines) == 3
    assert [line.number for line in shown.lines] == [2, 4, 7]
    assert not IntakeMessage.objects.exists()
    assert apply(a_week(), at=AT).counts == shown.counts
    assert Operation.objects.get().or_date == date(2027, 3, 25)
    assert apply(a_week(), at=AT).counts[Verdict.UNCHANGED] == 3


def test_the_command_tells_each_entry_its_path_and_what_to_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "week.json"
    path.write_bytes(a_week())
    with pytest.raises(SystemExit):
        call_command("import_messages", "--apply", str(path))
    told = capsys.readouterr().out
    assert "Messages in week.json 3:  created 1  updated 0  unchanged 0  rejected 2" in told
    assert "Patient.birthDate: Only the year or the month is given: 1975." in told
    assert "two different dates" in told
    assert Operation.objects.count() == 1


def test_a_bundle_in_xml_gets_a_plain_message(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "week.xml"
    path.write_text('<Bundle xmlns="http://hl7.org/fhir"/>')
    with pytest.raises(Exception, match="in XML; JSON is read"):
        call_command("import_messages", str(path))


def test_many_operations_take_few_queries(
    django_assert_max_num_queries: "object",
) -> None:
    patients = [
        a_patient(id=f"p{n}", identifier=[{"value": f"MRN-{n}"}], birthDate=f"19{40 + n}-02-03")
        for n in range(30)
    ]
    appointments = [
        an_appointment(
            id=f"a{n}",
            identifier=[{"value": f"CASE-{n}"}],
            participant=[{"actor": {"reference": f"Patient/p{n}"}, "status": "accepted"}],
        )
        for n in range(30)
    ]
    content = a_bundle(*patients, *appointments)
    with django_assert_max_num_queries(80):  # type: ignore[operator]
        assert receive(content, at=AT, source="a test").status == 201
    assert Operation.objects.count() == 30
