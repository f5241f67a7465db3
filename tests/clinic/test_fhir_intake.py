"""A system sends a bundle by its token: taken in once, answered, and nobody named in the answer."""

import html
import json
import re
from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any

import pytest
import time_machine
from django.db import OperationalError
from django.test import Client
from fhir.resources.R4B.operationoutcome import OperationOutcome

from clinic.models import Role
from patients.intake_tokens import APART
from patients.models import IntakeMessage, IntakeStep, IntakeToken, Operation, Patient, Step
from patients.receive_fhir import MAX_BUNDLE_BYTES
from tests.factories import a_procedure, a_programme, signed_in
from tests.fhir_bundles import TO_COME, a_bundle, a_patient, an_appointment

pytestmark = pytest.mark.django_db

ADDRESS = "/intake/fhir"
PAGE = "/intake/tokens/"


@pytest.fixture(autouse=True)
def while_the_appointment_is_to_come() -> Iterator[None]:
    with time_machine.travel(TO_COME):
        yield


@pytest.fixture
def token(db: None) -> str:
    a_programme()
    a_procedure()
    return made(signed_in(Role.ADMINISTRATOR))


def made(administrator: Client, name: str = "Larkfield OR") -> str:
    key = re.search(r'name="act_key" value="([^"]*)"', text_of(administrator.get(PAGE)))
    assert key
    shown = text_of(administrator.post(PAGE, {"act_key": key[1], "name": name}))
    found = re.search(r'<code class="token">([\w-]{43})</code>', shown)
    assert found, shown
    return found[1]


def text_of(response: Any) -> str:
    return html.unescape(response.content.decode())


def sent(
    content: bytes, token: str, *, kind: str = "application/fhir+json"
) -> tuple[int, list[dict[str, Any]]]:
    """Send a bundle as a system does; return the status and the issues of the answer."""
    IntakeToken.objects.update(last_used_at=None)  # a while later
    headers = {"Authorization": f"Bearer {token}"} if token else {}
    # No cookies, and the check against forged forms switched on as it is on a real site.
    client = Client(enforce_csrf_checks=True)
    response = client.post(ADDRESS, content, content_type=kind, headers=headers)
    assert response["Content-Type"] == "application/fhir+json"
    answer = json.loads(response.content)
    OperationOutcome.model_validate(answer)
    return response.status_code, answer["issue"]


def test_a_bundle_enrols_and_books_and_sent_again_does_nothing(token: str) -> None:
    status, issues = sent(a_bundle(a_patient(), an_appointment()), token)
    assert (status, [issue["details"]["text"] for issue in issues]) == (201, ["Entry 2: applied"])
    operation = Operation.objects.select_related("patient").get()
    assert (operation.or_date, operation.patient.mrn) == (date(2027, 3, 25), "MRN-1")
    assert IntakeMessage.objects.get().source == "sent by Larkfield OR"
    status, issues = sent(a_bundle(a_patient(), an_appointment()), token)
    assert (status, Operation.objects.get().version) == (200, 1)
    assert issues[0]["details"]["text"] == "Entry 2: applied before"


def test_a_newer_bundle_moves_and_an_older_one_overwrites_nothing(token: str) -> None:
    for hour, day in ((10, 25), (12, 28), (11, 26)):
        content = a_bundle(
            a_patient(),
            an_appointment(start=f"2027-03-{day}T14:00:00Z"),
            identifier={"value": f"B-{hour}"},
            timestamp=f"2026-11-24T{hour}:00:00Z",
        )
        assert sent(content, token)[0] == 201
    assert Operation.objects.get().or_date == date(2027, 3, 28)
    assert IntakeStep.objects.in_force().filter(step=Step.OVERTAKEN).count() == 1


def test_fault_30_a_bundle_that_contradicts_itself_waits_for_a_person(token: str) -> None:
    other = an_appointment(id="a2", start="2027-03-28T14:00:00Z")
    status, issues = sent(a_bundle(a_patient(), an_appointment(), other), token)
    assert status == 201
    assert [issue["severity"] for issue in issues] == ["warning"]
    assert "dates differ" in issues[0]["details"]["text"]
    assert not Operation.objects.exists()
    waiting = IntakeStep.objects.waiting().get()
    page = signed_in(Role.COORDINATOR).get(f"/intake/{waiting.message_id}/")
    assert "two different dates" in text_of(page)


def test_what_is_wrong_is_answered_by_its_path_and_without_a_fact_of_the_patient(
    token: str,
) -> None:
    content = a_bundle(a_patient(birthDate="1980-02"), an_appointment())
    status, issues = sent(content, token)
    assert status == 422
    assert issues == [
        {
            "severity": "error",
            "code": "value",
            "details": {"text": "Entry 2: refused: date partial"},
            "expression": ["Patient.birthDate"],
        }
    ]
    assert not Patient.objects.exists()


@pytest.mark.parametrize("status", ["bogus", "noshow", "cancelled", "booked"])
def test_no_answer_names_anybody(token: str, status: str) -> None:
    resources = (a_patient(), an_appointment(status=status), an_appointment(id="a2", start="x"))
    _, issues = sent(a_bundle(*resources, valid=False), token)
    said = json.dumps(issues)
    for fact in ("Quill", "Ottilie", "MRN-1", "CASE-1", "1980", "2027", "example.org", "0199"):
        assert fact not in said


REFUSED = [
    (b"<Bundle/>", "application/fhir+json", 400),
    (b"{", "application/fhir+json", 400),
    (b'{"a": 1, "a": 2}', "application/fhir+json", 400),
    (b'{"resourceType": "Observation"}', "application/json", 422),
    (b" " * (MAX_BUNDLE_BYTES + 1), "application/fhir+json", 413),
    (b"{}", "application/xml", 415),
]


@pytest.mark.parametrize("content, kind, status", REFUSED)
def test_t5_other_bodies_are_refused(token: str, content: bytes, kind: str, status: int) -> None:
    assert sent(content, token, kind=kind)[0] == status
    assert not IntakeMessage.objects.exists()


def test_without_a_token_with_another_or_a_revoked_one_nothing_is_read(token: str) -> None:
    content = a_bundle(a_patient(), an_appointment())
    for wrong in ("", "x" * 43, f"{token}x", "ü"):
        headers = {"Authorization": f"Bearer {wrong}"} if wrong else {}
        response = Client().post(
            ADDRESS, content, content_type="application/fhir+json", headers=headers
        )
        assert (response.status_code, response["WWW-Authenticate"]) == (401, "Bearer")
    administrator = signed_in(Role.ADMINISTRATOR)
    page = text_of(administrator.get(PAGE))
    key = re.search(r'name="act_key" value="([^"]*)"', page)
    assert key
    revoke = f"{PAGE}{IntakeToken.objects.get().pk}/revoke/"
    administrator.post(revoke, {"act_key": key[1]})
    assert sent(content, token)[0] == 401
    assert "revoked" in text_of(administrator.get(PAGE))
    assert not IntakeMessage.objects.exists()


def test_a_token_is_shown_once_kept_as_its_hash_and_its_last_use_is_shown(token: str) -> None:
    administrator = signed_in(Role.ADMINISTRATOR)
    page = text_of(administrator.get(PAGE))
    assert token not in page
    assert "never used" in page
    row = IntakeToken.objects.get()
    assert token not in str(vars(row))
    sent(a_bundle(a_patient(), an_appointment()), token)
    assert "last used" in text_of(administrator.get(PAGE))


def test_a_form_sent_twice_makes_one_token(db: None) -> None:
    a_programme()
    administrator = signed_in(Role.ADMINISTRATOR)
    form = {"act_key": "9d5d2f60-3f0e-4a3c-9a5f-0f3b8a1f4a11", "name": "Larkfield OR"}
    shown = [
        re.findall(
            r'<code class="token">([\w-]{43})</code>', text_of(administrator.post(PAGE, form))
        )
        for _ in range(2)
    ]
    assert shown[0] == shown[1]
    assert IntakeToken.objects.count() == 1


def test_two_bundles_in_one_instant_are_too_many(token: str) -> None:
    headers = {"Authorization": f"Bearer {token}"}
    content = a_bundle(a_patient(), an_appointment())
    both = [
        Client().post(ADDRESS, content, content_type="application/fhir+json", headers=headers)
        for _ in range(2)
    ]
    used = IntakeToken.objects.get().last_used_at
    assert used
    assert both[0].status_code == 201
    if both[1].status_code != 429:  # a slow machine: the second came later
        assert both[1].status_code == 200
    IntakeToken.objects.update(last_used_at=used + timedelta(seconds=5) + APART)
    late = Client().post(ADDRESS, content, content_type="application/fhir+json", headers=headers)
    assert (late.status_code, late["Retry-After"]) == (429, "1")


def test_a_database_that_fails_is_told_so_that_it_is_sent_again(
    token: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*args: object, **kwargs: object) -> None:
        raise OperationalError

    monkeypatch.setattr("clinic.views.fhir_intake.receive", fail)
    status, issues = sent(a_bundle(a_patient(), an_appointment()), token)
    assert (status, issues[0]["code"]) == (503, "transient")


def test_who_sees_the_tokens(db: None) -> None:
    a_programme()
    assert signed_in(Role.COORDINATOR).get(PAGE).status_code == 403
