"""A name of a procedure that nobody knows is said once; later messages of that sender know it."""

import json
import re
import uuid
from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from clinic.models import Role, StaffUser
from patients.clock import now
from patients.intake import Taken, take
from patients.models import IntakeMessage, IntakeStep, Operation, Procedure, ScheduleReading, Step
from patients.programme import local_day
from patients.rules.message_formats import MessageFormat
from patients.rules.schedule_changes import Verdict
from tests.factories import a_member, a_procedure, a_programme, signed_in
from tests.fhir_bundles import a_bundle, a_patient, an_appointment
from tests.hl7_messages import siu, taken
from tests.rendered_forms import form_to

pytestmark = pytest.mark.django_db
KNEE, SLEEVE = "27447^Knee replacement", "43775^Lap sleeve"


@pytest.fixture
def member() -> StaffUser:
    a_programme(at=now() - timedelta(days=30))
    a_procedure()
    return a_member(Role.COORDINATOR, name="Rosalind Achterberg")


@pytest.fixture
def client(member: StaffUser) -> Client:
    return signed_in(member)


def day(ahead: int) -> date:
    return local_day(now()) + timedelta(days=ahead)


def message(number: int, procedure: str, **changed: Any) -> Taken:
    """A booking of somebody of their own, from the system OR LARK."""
    about = {"control_id": f"m{number}", "case": f"C{number}^OR", "mrn": f"M{number}"}
    who = {"name": f"Quill{number}^Tobias", "born": f"1980020{number}"}
    facts = {"sent": now(), "on": day(30), "procedure": procedure, **about, **who, **changed}
    return taken(siu(**facts), at=now())


def page(client: Client, kept: IntakeMessage) -> Any:
    return client.get(reverse("intake-message", args=[kept.pk]))


def pressed(client: Client, act: str, kept: IntakeMessage, **typed: Any) -> Any:
    """Press a button of a page: what its form has, with what was typed; None: unticked."""
    address = reverse(act, args=[kept.pk])
    form = form_to(page(client, kept), address) | {"act_key": str(uuid.uuid4())} | typed
    return client.post(address, {name: value for name, value in form.items() if value is not None})


def text(response: Any) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode()))


def test_said_once_the_next_message_of_the_sender_is_applied_by_itself(client: Client) -> None:
    sleeve = Procedure.objects.get().pk
    first = message(1, SLEEVE)
    assert first.step.step == Step.WAITS
    shown = text(page(client, first.message))
    assert "Remember it: “Lap sleeve (43775)” means this procedure" in shown
    assert pressed(client, "intake-apply", first.message, procedure=sleeve).status_code == 302
    second = message(2, "43775^LAP  SLEEVE")
    assert (second.step.step, second.verdict) == (Step.APPLIED, Verdict.CREATED)
    assert Operation.objects.count() == 2
    by_code_alone = message(3, "43775")
    assert by_code_alone.step.step == Step.APPLIED


def test_it_is_not_remembered_for_another_sender_nor_unticked(client: Client) -> None:
    sleeve = Procedure.objects.get().pk
    first = message(1, SLEEVE)
    pressed(client, "intake-apply", first.message, procedure=sleeve, remember=None)
    assert message(2, SLEEVE).step.step == Step.WAITS
    pressed(client, "intake-apply", IntakeMessage.objects.last(), procedure=sleeve)  # type: ignore[arg-type]
    elsewhere = message(3, SLEEVE, replaced={"|OR|LARK|": "|OR|ELSEWHERE|"})
    assert elsewhere.step.step == Step.WAITS
    assert message(4, SLEEVE).step.step == Step.APPLIED


def test_what_is_not_ours_is_set_aside_by_itself_with_who_said_so(
    client: Client, member: StaffUser
) -> None:
    first = message(1, KNEE)
    pressed(client, "intake-set-aside", first.message, reason="Not ours.", not_ours="on")
    second = message(2, KNEE)
    assert (second.step.step, second.verdict) == (Step.SET_ASIDE, Verdict.REJECTED)
    assert second.step.by == member
    assert "said before that it is not one of ours" in second.step.note
    assert not IntakeStep.objects.waiting().exists()
    assert not Operation.objects.exists()


def test_an_operation_on_record_that_becomes_another_one_waits_all_the_same(
    client: Client,
) -> None:
    message(1, "SLV^Sleeve gastrectomy", sent=now() - timedelta(minutes=9))
    knee = message(2, KNEE)
    pressed(client, "intake-set-aside", knee.message, reason="Not ours.", not_ours="on")
    changed = message(1, KNEE, control_id="m9")
    assert changed.step.step == Step.WAITS
    assert "is not one of our procedures" in text(page(client, changed.message))


def test_what_was_said_is_listed_and_taken_back(client: Client) -> None:
    assert "Nothing was said about a word yet" in text(client.get("/intake/words/"))
    pressed(client, "intake-set-aside", message(1, KNEE).message, reason="Not ours.", not_ours="on")
    listed = client.get("/intake/words/")
    assert "knee replacement not one of ours OR LARK ; Rosalind Achterberg" in text(listed)
    said = ScheduleReading.objects.get()
    address = reverse("intake-word-forget", args=[said.pk])
    for word in ("knee replacement", "27447"):
        client.post(address, {"act_key": str(uuid.uuid4()), "word": word})
    assert "Nothing was said about a word yet" in text(client.get("/intake/words/"))
    assert message(2, KNEE).step.step == Step.WAITS


def test_fhir_has_the_same_memory(client: Client) -> None:
    def bundle(number: int) -> bytes:
        patient = a_patient(birthDate=f"1980-02-0{number}")
        patient["identifier"][1]["value"] = f"MRN-{number}"
        patient["name"][1]["family"] = f"Quill{number}"
        start = f"{day(30)}T14:00:00Z"
        appointment = an_appointment(
            start=start,
            end=f"{day(30)}T15:00:00Z",
            identifier=[{"system": "urn:x:case", "value": f"CASE-{number}"}],
            serviceType=[{"coding": [{"system": "urn:x", "code": "43775"}], "text": "Lap sleeve"}],
        )
        identifier = {"system": "urn:x:larkfield", "value": f"B-{number}"}
        return a_bundle(patient, appointment, identifier=identifier, timestamp=now().isoformat())

    def came(number: int) -> Taken:
        content = json.dumps(json.loads(bundle(number))).encode()
        return take(content, format=MessageFormat.FHIR_R4, at=now(), source="POST")

    first = came(1)
    assert first.step.step == Step.WAITS
    sleeve = Procedure.objects.get().pk
    pressed(client, "intake-apply", first.message, procedure=sleeve)
    assert came(2).step.step == Step.APPLIED


def test_the_history_of_an_operation_names_the_message_that_changed_it(client: Client) -> None:
    before = now() - timedelta(minutes=9)
    booked = message(1, "SLV^Sleeve gastrectomy", sent=before)
    message(1, "SLV^Sleeve gastrectomy", control_id="m2", trigger="S13", on=day(37))
    operation = Operation.objects.get()
    shown = text(client.get(reverse("operation", args=[operation.pk])))
    assert "HL7 message S12 from OR LARK, control id m1" in shown
    assert "HL7 message S13 from OR LARK, control id m2" in shown
    assert "no reason given" not in shown
    html = client.get(reverse("operation", args=[operation.pk])).content.decode()
    assert reverse("intake-message", args=[booked.message.pk]) in html
    history = text(client.get(reverse("patient", args=[operation.patient_id])))
    assert "By HL7 message S13 from OR LARK, control id m2" in history
    record = client.get(reverse("clearance-record-csv", args=[operation.patient_id]))
    assert b"HL7 message S13 from OR LARK, control id m2" in record.content
