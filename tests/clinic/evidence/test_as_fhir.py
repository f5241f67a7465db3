"""The clearance record as FHIR R4, read by a FHIR library and held against HL7's own examples."""

from copy import deepcopy
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from fhir.resources.R4B.bundle import Bundle
from fhir.resources.R4B.procedure import Procedure
from fhir.resources.R4B.questionnaireresponse import QuestionnaireResponse

from clinic.evidence import as_fhir
from clinic.evidence.record import ClearanceRecord
from patients.clock import now
from patients.models import Booking
from patients.schedule import change, move
from tests.clinic.evidence.a_record import Story, a_story
from tests.clinic.evidence.fhir_reader import (
    codes_out_of_their_value_set,
    is_education,
    marks,
    references,
)

SITE = "https://clearby.example"

# The official R4 example Procedure/education (hl7.org/fhir/R4/procedure-example-education.html;
# standards row FHR-1), without its narrative and names.
EDUCATION = {
    "resourceType": "Procedure",
    "id": "education",
    "basedOn": [{"reference": "ServiceRequest/education"}],
    "status": "completed",
    "category": {
        "coding": [
            {
                "system": "http://snomed.info/sct",
                "code": "311401005",
                "display": "Patient education (procedure)",
            }
        ],
        "text": "Education",
    },
    "code": {"coding": [{"system": "http://snomed.info/sct", "code": "48023004"}]},
    "subject": {"display": "TEST"},
    "performedDateTime": "2014-08-16",
}


def scored(link_id: str, code: str, mark: int) -> dict[str, Any]:
    ordinal = {
        "url": "http://hl7.org/fhir/StructureDefinition/ordinalValue",
        "valueDecimal": mark,
    }
    coding = {"extension": [ordinal], "system": "http://loinc.org", "code": code}
    return {"linkId": link_id, "answer": [{"valueCoding": coding}]}


# The official R4 example QuestionnaireResponse/gcs (hl7.org/fhir/R4/questionnaireresponse-example-
# gcs.html; standards row FHR-4), without its narrative and names.
GCS = {
    "resourceType": "QuestionnaireResponse",
    "id": "gcs",
    "status": "completed",
    "authored": "2014-12-11T04:44:16Z",
    "item": [
        scored("1.1", "LA6560-2", 4),
        scored("1.2", "LA6566-9", 5),
        scored("1.3", "LA6556-0", 4),
    ],
}


def test_our_reader_reads_the_official_examples() -> None:
    Procedure.model_validate(EDUCATION)
    QuestionnaireResponse.model_validate(GCS)
    assert is_education(EDUCATION)
    assert marks(GCS) == Decimal(13)  # FHR-4


@pytest.fixture(scope="module")
def told(kept_open: None) -> Story:
    return a_story()


@pytest.fixture
def story(told: Story, db: None) -> Story:
    return deepcopy(told)


def bundle(record: ClearanceRecord) -> dict[str, Any]:
    return as_fhir.write(record, site=SITE)


def of_type(written: dict[str, Any], name: str) -> list[dict[str, Any]]:
    found = [entry["resource"] for entry in written["entry"]]
    return [one for one in found if one["resourceType"] == name]


def check(written: dict[str, Any]) -> None:
    """The library takes it, every code is in its value set, every reference is in the bundle."""
    Bundle.model_validate(written)
    known = {entry["fullUrl"] for entry in written["entry"]}
    assert len(known) == len(written["entry"]), "each entry has an address of its own"
    urls = {f"{one['url']}|{one['version']}" for one in of_type(written, "Questionnaire")}
    for entry in [{"resource": written}, *written["entry"]]:
        resource = entry["resource"]
        assert codes_out_of_their_value_set(resource) == []
        if resource is not written:
            assert set(references(resource)) <= known, resource["resourceType"]
        if resource["resourceType"] == "QuestionnaireResponse":
            assert resource["questionnaire"] in urls


def test_a_fhir_library_reads_the_bundle(story: Story) -> None:
    written = bundle(story.record())
    check(written)
    types = {entry["resource"]["resourceType"] for entry in written["entry"]}
    assert types == {
        "Patient", "Appointment", "Questionnaire", "QuestionnaireResponse", "Procedure", "Task",
        "Provenance", "Communication",
    }  # fmt: skip
    (held,) = of_type(written, "Communication")
    assert any("Said: Sips, not gulps." in part["contentString"] for part in held["payload"])


def test_education_is_told_as_the_official_example_tells_it(story: Story) -> None:
    """FHR-1: status completed, the category with its code and text, the day it was performed."""
    record = story.record()
    holds, revoked = of_type(bundle(record), "Procedure")
    assert is_education(holds)
    assert not is_education(revoked)
    assert holds["category"] == EDUCATION["category"]
    assert holds["performedDateTime"] == record.clearances[0].cleared_on.isoformat()
    assert revoked["status"] == "entered-in-error"
    assert revoked["statusReason"]["text"] == "Another patient was meant."


def test_a_quiz_carries_its_marks_and_its_score(story: Story) -> None:
    record = story.record()
    failed, passed = of_type(bundle(record), "QuestionnaireResponse")
    one_choice = {
        asked.key for asked in record.editions[0].questions if asked.kind in ("one", "true_false")
    }
    for written, quiz in ((failed, record.quizzes[0]), (passed, record.quizzes[1])):
        right = [a for a in quiz.answers if a.right and a.key in one_choice]
        assert marks(written) == len(right)
        score = {
            item["linkId"]: next(iter(item["answer"][0].values()))
            for item in written["item"][-1]["item"]
        }
        assert score["score.right"] == quiz.right
        assert score["score.passed"] is quiz.passed
        assert score["score.pass-mark"] == quiz.pass_mark
    assert "partOf" in passed
    assert "partOf" not in failed


@pytest.mark.parametrize(
    "booking, resource, status",
    [
        (Booking.PROPOSED, "Appointment", "proposed"),
        (Booking.CONFIRMED, "Appointment", "booked"),
        (Booking.ON_HOLD, "Appointment", "pending"),
        (Booking.CANCELLED, "Appointment", "cancelled"),
        (Booking.DONE, "Procedure", "completed"),
    ],
)
def test_an_operation_is_an_appointment_until_it_is_done(
    story: Story, booking: Booking, resource: str, status: str
) -> None:
    record = story.record()
    changed = replace(record, operations=(replace(record.operations[0], booking=booking),))
    written = bundle(changed)
    check(written)
    operation = next(
        one for one in of_type(written, resource) if one.get("category") != EDUCATION["category"]
    )
    assert operation["status"] == status


def test_without_a_date_nothing_is_dated(story: Story) -> None:
    move(story.operation, None, at=now(), reason="postponed")
    written = bundle(story.record())
    check(written)
    (appointment,) = of_type(written, "Appointment")
    assert appointment["status"] == "proposed", "app-3: only then an appointment needs no instants"
    assert "start" not in appointment


def test_an_operation_on_a_daylight_saving_day_lasts_from_midnight_to_midnight(
    story: Story,
) -> None:
    """In Chicago the clocks go forward on 14 March 2027 (second Sunday in March; 15 USC 260a)."""
    change(story.operation, at=now(), or_date=date(2027, 3, 14))
    (appointment,) = of_type(bundle(story.record()), "Appointment")
    assert appointment["start"] == "2027-03-14T00:00:00-06:00"
    assert appointment["end"] == "2027-03-15T00:00:00-05:00"
    assert appointment["requestedPeriod"] == [{"start": "2027-03-14", "end": "2027-03-14"}]


def test_each_decision_says_who_made_it_and_why(story: Story) -> None:
    told = {
        one["activity"]["text"]: (one["agent"][0]["who"]["display"], one.get("reason"))
        for one in of_type(bundle(story.record()), "Provenance")
    }
    assert told["matched automatically"][0] == as_fhir.RULE
    assert told["clearance revoked"][0] == "Imogen Tallis"
    assert told["waived"] == ("Dr. Priscilla Onwuachi", [{"text": "Taught on the ward."}])
    assert told["taken back: waived"][1] == [{"text": "Not yet, it seems."}]


def test_ids_are_the_same_each_time_and_others_elsewhere(story: Story) -> None:
    record = story.record()

    def ids(site: str) -> set[str]:
        return {entry["fullUrl"] for entry in as_fhir.write(record, site=site)["entry"]}

    assert ids(SITE) == ids(SITE)
    assert not ids(SITE) & ids("https://elsewhere.example")
