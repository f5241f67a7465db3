"""What FHIR R4 bundles say: a table of resources, with where each expectation comes from.

Source: hl7.org/fhir/R4 (4.0.1). FHR-2, FHR-5 and FHR-8 are rows of the project's list of outside
standards; the examples are written anew from the facts that those rows name.
"""

import json
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from fhir.resources.R4B.appointment import Appointment
from fhir.resources.R4B.servicerequest import ServiceRequest
from hypothesis import given
from hypothesis import strategies as st

from patients.message_words import refusal_words
from patients.rules.fhir_bundle import MAX_DEPTH, MAX_ENTRIES, split_bundle
from patients.rules.fhir_schedule import INTENTS, STATUSES, read_fhir
from patients.rules.fhir_times import read_day, read_instant
from patients.rules.message_reading import (
    Doubt,
    Event,
    Frame,
    MessageRefusal,
    NotTaken,
    Reading,
)
from patients.rules.schedule_known import KnownProcedure
from patients.rules.schedule_procedures import Procedures
from patients.rules.schedule_reasons import Reason
from patients.rules.schedule_rows import Plan, ScheduleRow, Unreadable
from tests.fhir_bundles import a_bundle, a_patient, a_request, an_appointment

ZONE = ZoneInfo("America/Chicago")
PROCEDURES = [
    KnownProcedure(1, "SLV", "Sleeve gastrectomy"),
    KnownProcedure(2, "RYGB", "Gastric bypass"),
]
FRAME = Frame(ZONE, date(2026, 11, 25), Procedures(PROCEDURES))


def read(content: bytes) -> list[Reading]:
    return [read_fhir(part.content, FRAME) for part in split_bundle(content)]


def only(*resources: dict[str, Any], valid: bool = True, **changed: Any) -> Reading:
    (reading,) = read(a_bundle(*resources, valid=valid, **changed))
    return reading


def row(*resources: dict[str, Any], **changed: Any) -> ScheduleRow:
    found = only(*resources, **changed).row
    assert isinstance(found, ScheduleRow), found
    return found


def problems(*resources: dict[str, Any], valid: bool = True) -> list[tuple[str, Reason]]:
    found = only(*resources, valid=valid).row
    assert isinstance(found, Unreadable), found
    return [(problem.column, problem.reason) for problem in found.problems]


def doubts(reading: Reading) -> list[str]:
    return [str(noted.what) for noted in reading.doubts]


def refused(content: bytes) -> MessageRefusal:
    with pytest.raises(NotTaken) as caught:
        read(content)
    return caught.value.refusal


def test_what_is_no_schedule_is_refused_with_the_kinds_that_came() -> None:
    """The official examples that are no schedule: rows FHR-1 and FHR-4 name their kinds."""
    education = {"resourceType": "Procedure", "id": "education", "status": "completed"}
    scored = {"resourceType": "QuestionnaireResponse", "id": "gcs", "status": "completed"}
    with pytest.raises(NotTaken) as caught:
        read(json.dumps(education).encode())
    assert (caught.value.refusal, caught.value.detail) == (
        MessageRefusal.WRONG_RESOURCE,
        "Procedure",
    )
    with pytest.raises(NotTaken) as caught:
        read(a_bundle(a_patient(), education, scored, valid=False))
    assert caught.value.refusal == MessageRefusal.NO_OPERATION
    assert "Patient, Procedure, QuestionnaireResponse" in refusal_words(caught.value)[0]


def test_an_appointment_with_its_patient_surgeon_and_place() -> None:
    reading = only(a_patient(), an_appointment())
    found = reading.row
    assert isinstance(found, ScheduleRow)
    assert (found.mrn, found.given_names, found.family_names) == ("MRN-1", "Ottilie", "Quill")
    assert (found.birth_date, found.or_date) == (date(1980, 2, 29), date(2027, 3, 25))
    assert (found.email, found.phone) == ("ottilie@example.org", "312 555 0199")
    assert (found.language, found.plan) == ("es", Plan.SCHEDULED)
    assert (found.procedure, found.case_number) == ("Sleeve gastrectomy", "CASE-1")
    assert (found.surgeon, found.facility) == ("Dr. Ottoline Brask", "Larkfield East")
    assert (reading.control_id, reading.sender) == ("B-1#2", "urn:x:larkfield")
    assert reading.sent_at == datetime(2026, 11, 24, 10, tzinfo=UTC)
    assert reading.doubts == ()


def test_a_request_with_a_date_alone_or_a_period() -> None:
    assert row(a_patient(), a_request()).or_date == date(2027, 3, 25)
    period = a_request(occurrencePeriod={"start": "2027-03-26T01:00:00-06:00"})
    del period["occurrenceDateTime"]
    assert row(a_patient(), period).or_date == date(2027, 3, 26)


@pytest.mark.parametrize(
    "start, day",
    [
        ("2027-03-25T04:59:00Z", date(2027, 3, 24)),  # 23:59 in Chicago, daylight saving time
        ("2027-03-25T05:00:00Z", date(2027, 3, 25)),
        ("2027-01-25T05:59:00Z", date(2027, 1, 24)),  # 23:59 in Chicago, standard time
        ("2027-03-25T09:00:00+09:00", date(2027, 3, 24)),
    ],
)
def test_an_instant_is_the_programmes_local_day(start: str, day: date) -> None:
    assert row(a_patient(), an_appointment(start=start)).or_date == day


def test_the_newest_time_of_the_resource_comes_before_the_bundles() -> None:
    written = an_appointment(meta={"lastUpdated": "2026-11-20T08:00:00.123+01:00"})
    reading = only(a_patient(), written)
    assert reading.sent_at == datetime(2026, 11, 20, 7, tzinfo=UTC)
    assert doubts(only(a_patient(), an_appointment(), timestamp=None)) == [Doubt.NO_SEND_TIME]


@pytest.mark.parametrize("status", sorted(STATUSES["Appointment"]))
def test_every_status_of_an_appointment(status: str) -> None:
    """Codes: hl7.org/fhir/R4/valueset-appointmentstatus.html."""
    reading = only(a_patient(), an_appointment(status=status))
    wanted = {
        "waitlist": Plan.ON_HOLD,
        "fulfilled": Plan.DONE,
        "cancelled": Plan.CANCELLED,
        "entered-in-error": Plan.CANCELLED,
        "noshow": None,
    }.get(status, Plan.SCHEDULED)
    assert isinstance(reading.row, ScheduleRow)
    assert reading.row.plan == wanted
    assert (reading.event == Event.DID_NOT_COME) is (status == "noshow")
    assert doubts(reading) == ([Doubt.DID_NOT_COME] if status == "noshow" else [])


def test_the_codes_are_all_that_r4_has() -> None:
    """FHR-8: counted on hl7.org/fhir/R4, because the library does not check them."""
    assert set(STATUSES["Appointment"]) == {
        "proposed",
        "pending",
        "booked",
        "arrived",
        "fulfilled",
        "cancelled",
        "noshow",
        "entered-in-error",
        "checked-in",
        "waitlist",
    }
    assert set(STATUSES["ServiceRequest"]) == {
        "draft",
        "active",
        "on-hold",
        "revoked",
        "completed",
        "entered-in-error",
        "unknown",
    }
    assert len(INTENTS) == 9
    # The library lets anything pass.
    assert Appointment.model_validate(an_appointment(status="bogus")).status == "bogus"
    assert problems(a_patient(), an_appointment(status="bogus")) == [
        ("Appointment.status", Reason.STATUS_UNKNOWN)
    ]


# Each with the place that it names.
WRONG: list[tuple[dict[str, Any], dict[str, Any], str, Reason]] = [
    ({"birthDate": "1980-02"}, {}, "Patient.birthDate", Reason.DATE_PARTIAL),
    ({"birthDate": "1980"}, {}, "Patient.birthDate", Reason.DATE_PARTIAL),
    ({"birthDate": "1979-02-29"}, {}, "Patient.birthDate", Reason.NO_SUCH_DAY),
    ({"birthDate": "2027-01-01"}, {}, "Patient.birthDate", Reason.BORN_IN_FUTURE),
    ({"birthDate": "1980-02-29T00:00:00Z"}, {}, "Patient.birthDate", Reason.DATE_UNREADABLE),
    ({"birthDate": None}, {}, "Patient.birthDate", Reason.MISSING),
    ({"identifier": []}, {}, "Patient.identifier", Reason.MISSING),
    ({"name": [{"text": "Ottilie Quill"}]}, {}, "Patient.name", Reason.NAME_NOT_PARTED),
    ({"name": []}, {}, "Patient.name", Reason.MISSING),
    ({}, {"start": "2027-03-25"}, "Appointment.start", Reason.DATE_UNREADABLE),
    ({}, {"start": "2027-03-25T14:00:00"}, "Appointment.start", Reason.DATE_UNREADABLE),
    ({}, {"start": "2027-02-30T14:00:00Z"}, "Appointment.start", Reason.NO_SUCH_DAY),
    ({}, {"start": "2099-02-28T14:00:00Z"}, "Appointment.start", Reason.IMPOSSIBLE_YEAR),
    ({}, {"status": None}, "Appointment.status", Reason.MISSING),
    ({}, {"identifier": [], "id": ""}, "Appointment.identifier", Reason.MISSING),
    ({}, {"participant": []}, "Patient", Reason.MISSING),
    (
        {},
        {"identifier": [{"value": "C" * 41}]},
        "Appointment.identifier",
        Reason.TOO_LONG,
    ),
]


@pytest.mark.parametrize("patient, appointment, where, reason", WRONG)
def test_what_is_wrong_is_told_by_its_path(
    patient: dict[str, Any], appointment: dict[str, Any], where: str, reason: Reason
) -> None:
    found = problems(a_patient(**patient), an_appointment(**appointment), valid=False)
    assert (where, reason) in found


def test_two_resources_of_one_case_that_disagree_set_no_date() -> None:
    """Fault 30."""
    reading = only(
        a_patient(), an_appointment(), a_request(occurrenceDateTime="2027-03-28", status="draft")
    )
    assert Doubt.DATES_DIFFER in doubts(reading)
    assert isinstance(reading.row, ScheduleRow)
    assert reading.row.or_date is None
    assert [one.day for one in reading.dates] == [date(2027, 3, 25), date(2027, 3, 28)]


def test_a_request_without_a_number_joins_the_appointment_that_is_based_on_it() -> None:
    request = a_request(identifier=[{"value": "ORDER-9"}])
    appointment = an_appointment(basedOn=[{"reference": "ServiceRequest/s1"}])
    reading = only(a_patient(), request, appointment)
    assert isinstance(reading.row, ScheduleRow)
    assert (reading.row.case_number, reading.other_case_numbers) == ("CASE-1", ("ORDER-9",))


def test_statuses_of_one_case_that_disagree_are_left_to_a_person() -> None:
    reading = only(a_patient(), an_appointment(status="cancelled"), a_request())
    assert Doubt.STATUS_CONTRADICTS in doubts(reading)
    assert isinstance(reading.row, ScheduleRow)
    assert reading.row.plan is None


def test_a_patient_inside_the_appointment_by_full_address_or_with_a_version() -> None:
    participant = [{"actor": {"reference": "#p1"}, "status": "accepted"}]
    inside = an_appointment(contained=[a_patient()], participant=participant)
    assert row(inside).mrn == "MRN-1"
    for reference in ("https://x.example/fhir/Patient/p1", "Patient/p1/_history/3"):
        participant = [{"actor": {"reference": reference}, "status": "accepted"}]
        assert row(a_patient(), an_appointment(participant=participant)).mrn == "MRN-1"


def test_two_patients_in_one_appointment() -> None:
    other = a_patient(id="p2", identifier=[{"value": "MRN-2"}])
    participant = [
        {"actor": {"reference": f"Patient/{one}"}, "status": "accepted"} for one in ("p1", "p2")
    ]
    assert problems(a_patient(), other, an_appointment(participant=participant)) == [
        ("Appointment.participant.actor", Reason.SEVERAL_PATIENTS)
    ]


def test_a_name_that_means_two_patients_refuses_the_bundle() -> None:
    content = a_bundle(a_patient(), a_patient(birthDate="1990-01-01"), an_appointment())
    assert refused(content) == MessageRefusal.NAME_TWICE


def test_several_procedures_are_left_to_a_person_and_an_unknown_one_is_named() -> None:
    both = [{"coding": [{"code": "SLV"}]}, {"text": "Gastric bypass"}]
    assert doubts(only(a_patient(), an_appointment(serviceType=both))) == [Doubt.SEVERAL_PROCEDURES]
    unknown = [{"coding": [{"code": "HRN", "display": "Hernia repair"}]}]
    found = row(a_patient(), an_appointment(serviceType=unknown))
    assert (found.procedure, found.procedure_code) == ("Hernia repair", "HRN")


def test_fhr_2_the_education_request_of_the_specification_is_read() -> None:
    """ServiceRequest/education: completed, order, 2014-08-16, category 311401005."""
    request = {
        "resourceType": "ServiceRequest",
        "id": "education",
        "status": "completed",
        "intent": "order",
        "category": [
            {"coding": [{"system": "http://snomed.info/sct", "code": "311401005"}]},
        ],
        "code": {"coding": [{"system": "http://snomed.info/sct", "code": "48023004"}]},
        "subject": {"reference": "Patient/p1"},
        "occurrenceDateTime": "2014-08-16",
        "authoredOn": "2016-08-16",
    }
    ServiceRequest.model_validate(request)
    early = Frame(ZONE, date(2016, 8, 16), FRAME.procedures)
    (part,) = split_bundle(a_bundle(a_patient(), request))
    found = read_fhir(part.content, early).row
    assert isinstance(found, ScheduleRow)
    assert (found.or_date, found.plan) == (date(2014, 8, 16), Plan.DONE)
    assert (found.case_number, found.procedure_code) == ("education", "48023004")


def test_fhr_5_the_appointment_of_the_specification_is_read_alone() -> None:
    """Appointment/example: booked, 2013-12-10T09:00:00Z to 11:00:00Z, priority 5, required."""
    appointment = {
        "resourceType": "Appointment",
        "id": "example",
        "status": "booked",
        "priority": 5,
        "start": "2013-12-10T09:00:00Z",
        "end": "2013-12-10T11:00:00Z",
        "participant": [
            {
                "actor": {"reference": "Patient/example", "display": "Ottilie Quill"},
                "required": "required",
                "status": "accepted",
            }
        ],
    }
    Appointment.model_validate(appointment)
    early = Frame(ZONE, date(2013, 12, 1), FRAME.procedures)
    (part,) = split_bundle(json.dumps(appointment).encode())
    reading = read_fhir(part.content, early)
    assert [one.day for one in reading.dates] == [date(2013, 12, 10)]
    assert isinstance(reading.row, Unreadable), "its patient is in another file"
    assert [(p.column, p.reason) for p in reading.row.problems] == [("Patient", Reason.MISSING)]
    participant = [{"actor": {"reference": "Patient/p1"}, "status": "accepted"}]
    (part,) = split_bundle(a_bundle(a_patient(), appointment | {"participant": participant}))
    found = read_fhir(part.content, early).row
    assert isinstance(found, ScheduleRow)
    assert (found.or_date, found.plan) == (date(2013, 12, 10), Plan.SCHEDULED)


def test_each_operation_is_a_part_and_sent_again_it_is_the_same() -> None:
    two = an_appointment(id="a2", identifier=[{"value": "CASE-2"}])
    content = a_bundle(a_patient(), an_appointment(), two)
    parts = split_bundle(content)
    assert [part.line for part in parts] == [2, 3]
    assert parts == split_bundle(content)
    assert len({read_fhir(part.content, FRAME).control_id for part in parts}) == 2
    nameless = a_bundle(a_patient(), an_appointment(), two, identifier=None)
    ids = [reading.control_id for reading in read(nameless)]
    assert ids == [reading.control_id for reading in read(nameless)]
    assert len(set(ids)) == 2


DEEP = b'{"resourceType":"Bundle","x":' + b"[" * (MAX_DEPTH + 1) + b"]" * (MAX_DEPTH + 1) + b"}"
REFUSED = [
    (b"<Bundle xmlns='http://hl7.org/fhir'/>", MessageRefusal.XML),
    (b"<?xml version='1.0'?><!DOCTYPE x [<!ENTITY a 'b'>]><Bundle/>", MessageRefusal.XML),
    (b"MSH|^~\\&|", MessageRefusal.NOT_JSON),
    (b"", MessageRefusal.NOT_JSON),
    (b"[]", MessageRefusal.NOT_JSON),
    (b'{"resourceType": "Bundle",', MessageRefusal.NOT_JSON),
    (b'{"resourceType": NaN}', MessageRefusal.NOT_JSON),
    (b'{"x": 1' + b"0" * 5000 + b"}", MessageRefusal.NOT_JSON),
    (b'{"a": {"status": "booked", "status": "cancelled"}}', MessageRefusal.NAME_TWICE),
    (DEEP, MessageRefusal.TOO_DEEP),
    (b"[" * 200_000, MessageRefusal.TOO_DEEP),
    (b'{"a": "\\ud800"}', MessageRefusal.CHARACTER_SET),
    (b'{"a": "\xff"}', MessageRefusal.CHARACTER_SET),
    (b'{"resourceType": "Patient"}', MessageRefusal.WRONG_RESOURCE),
    (b'{"resourceType": "Bundle", "type": "document"}', MessageRefusal.WRONG_RESOURCE),
    (b'{"resourceType": "Bundle", "type": "collection"}', MessageRefusal.NO_OPERATION),
    (
        b'{"resourceType": "Bundle", "type": "collection", "entry": ['
        + b"1," * MAX_ENTRIES
        + b"1]}",
        MessageRefusal.TOO_MANY_ENTRIES,
    ),
]


@pytest.mark.parametrize("content, why", REFUSED, ids=range(len(REFUSED)))
def test_t5_what_is_no_bundle_is_refused_whole(content: bytes, why: MessageRefusal) -> None:
    assert refused(content) == why


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=8),
    lambda below: st.lists(below, max_size=3) | st.dictionaries(st.text(max_size=8), below),
    max_leaves=8,
)
PATHS = ["status", "start", "participant", "identifier", "serviceType", "contained", "meta", "id"]


@given(where=st.sampled_from(PATHS), value=JSON, ours=st.booleans())
def test_whatever_stands_in_a_field_is_read_or_told_and_never_an_error(
    where: str, value: Any, ours: bool
) -> None:
    appointment, patient = an_appointment(), a_patient()
    if ours:
        appointment[where] = value
    else:
        patient[{"start": "birthDate", "status": "name"}.get(where, where)] = value
    entries = [{"resource": patient}, {"resource": appointment}]
    bundle = {"resourceType": "Bundle", "type": "collection", "entry": entries}
    try:
        readings = read(json.dumps(bundle).encode())
    except NotTaken:
        return
    assert len(readings) == 1


@pytest.mark.parametrize(
    "written, day",
    [
        ("2008-02-29", date(2008, 2, 29)),
        ("2007-02-29", Reason.NO_SUCH_DAY),
        ("2008-02", Reason.DATE_PARTIAL),
        ("0008-02-01", Reason.IMPOSSIBLE_YEAR),
        ("2027-03-25T25:00:00Z", Reason.NO_SUCH_DAY),
        ("25 March 2027", Reason.DATE_UNREADABLE),
    ],
)
def test_dates(written: str, day: date | Reason) -> None:
    """FHR-8: 2007-02-29 is no day, 2008-02-29 is one."""
    assert read_day(written, zone=ZONE) == day
    assert read_instant(written) is None
