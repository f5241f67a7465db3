"""FHIR R4 bundles for tests, each validated by the `fhir.resources` models as it is made.

4.3.0 (R4B) is the nearest that the library has to 4.0.1; Patient, Appointment, ServiceRequest,
Practitioner, Location and Bundle are the same in both where they are used here.
"""

import json
from datetime import UTC, datetime
from typing import Any

from fhir.resources.R4B.bundle import Bundle

Json = dict[str, Any]
TIMESTAMP = "2026-11-24T10:00:00Z"
TO_COME = datetime(2026, 11, 25, 15, tzinfo=UTC)  # the bundles' appointment, then


def a_patient(**changed: Any) -> Json:
    """A patient with everything that is read."""
    return {
        "resourceType": "Patient",
        "id": "p1",
        "identifier": [
            {"system": "urn:x:inner", "value": "77"},
            {
                "type": {
                    "coding": [
                        {
                            "system": "http://terminology.hl7.org/CodeSystem/v2-0203",
                            "code": "MR",
                        }
                    ]
                },
                "value": "MRN-1",
            },
        ],
        "name": [
            {"use": "nickname", "given": ["Tilly"]},
            {"use": "official", "family": "Quill", "given": ["Ottilie", "B."]},
        ],
        "birthDate": "1980-02-29",
        "telecom": [
            {"system": "phone", "value": "312 555 0100", "use": "old"},
            {"system": "phone", "value": "312 555 0199"},
            {"system": "email", "value": "ottilie@example.org"},
        ],
        "communication": [
            {"language": {"coding": [{"system": "urn:ietf:bcp:47", "code": "en"}]}},
            {
                "language": {"coding": [{"system": "urn:ietf:bcp:47", "code": "es"}]},
                "preferred": True,
            },
        ],
        **changed,
    }


def an_appointment(**changed: Any) -> Json:
    """An appointment for that patient, with a surgeon and a place."""
    return {
        "resourceType": "Appointment",
        "id": "a1",
        "identifier": [{"system": "urn:x:case", "value": "CASE-1"}],
        "status": "booked",
        "serviceType": [{"coding": [{"system": "urn:x:ours", "code": "SLV"}]}],
        "start": "2027-03-25T14:00:00Z",
        "end": "2027-03-25T16:00:00Z",
        "participant": [
            {"actor": {"reference": "Patient/p1"}, "status": "accepted"},
            {"actor": {"reference": "Practitioner/d1"}, "status": "accepted"},
            {"actor": {"reference": "Location/l1"}, "status": "accepted"},
        ],
        **changed,
    }


def a_request(**changed: Any) -> Json:
    """A request for the operation of that patient."""
    return {
        "resourceType": "ServiceRequest",
        "id": "s1",
        "identifier": [{"system": "urn:x:case", "value": "CASE-1"}],
        "status": "active",
        "intent": "order",
        "code": {"coding": [{"system": "urn:x:ours", "code": "SLV"}]},
        "subject": {"reference": "Patient/p1"},
        "occurrenceDateTime": "2027-03-25",
        **changed,
    }


PRACTITIONER: Json = {
    "resourceType": "Practitioner",
    "id": "d1",
    "name": [{"family": "Brask", "given": ["Ottoline"], "prefix": ["Dr."]}],
}
LOCATION: Json = {"resourceType": "Location", "id": "l1", "name": "Larkfield East"}


def a_bundle(*resources: Json, valid: bool = True, **changed: Any) -> bytes:
    """A bundle of these and of surgeon and place, as it would be sent; valid unless said so."""
    entries = [
        {"fullUrl": f"https://x.example/fhir/{one['resourceType']}/{one['id']}", "resource": one}
        for one in (*resources, PRACTITIONER, LOCATION)
    ]
    bundle = {
        "resourceType": "Bundle",
        "type": "collection",
        "identifier": {"system": "urn:x:larkfield", "value": "B-1"},
        "timestamp": TIMESTAMP,
        "entry": entries,
        **changed,
    }
    if valid:
        Bundle.model_validate(bundle)
    return json.dumps(bundle).encode()
