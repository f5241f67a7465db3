"""Read from FHIR what a clearance record says, and check what the library does not.

The same few lines read HL7's official examples and our own bundles: what they agree on is the shape
that others will read too. `fhir.resources` does not check required code bindings (standards row
FHR-8), so the value sets stand here, from hl7.org/fhir/R4.
"""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

ORDINAL = "http://hl7.org/fhir/StructureDefinition/ordinalValue"

# Required bindings, R4: event-status, appointmentstatus, participationstatus, task-status,
# task-intent, publication-status, questionnaire-answers-status, item-type, name-use,
# identifier-use, bundle-type.
EVENT = {
    "preparation",
    "in-progress",
    "not-done",
    "on-hold",
    "stopped",
    "completed",
    "entered-in-error",
    "unknown",
}
BOUND: dict[str, dict[str, set[str]]] = {
    "Procedure": {"status": EVENT},
    "Communication": {"status": EVENT},
    "Appointment": {
        "status": {
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
        },
        "participant.status": {"accepted", "declined", "tentative", "needs-action"},
    },
    "Task": {
        "status": {
            "draft",
            "requested",
            "received",
            "accepted",
            "rejected",
            "ready",
            "cancelled",
            "in-progress",
            "on-hold",
            "failed",
            "completed",
            "entered-in-error",
        },
        "intent": {
            "unknown",
            "proposal",
            "plan",
            "order",
            "original-order",
            "reflex-order",
            "filler-order",
            "instance-order",
            "option",
        },
    },
    "Questionnaire": {
        "status": {"draft", "active", "retired", "unknown"},
        "item.type": {
            "group",
            "display",
            "boolean",
            "decimal",
            "integer",
            "date",
            "dateTime",
            "time",
            "string",
            "text",
            "url",
            "choice",
            "open-choice",
            "attachment",
            "reference",
            "quantity",
        },
    },
    "QuestionnaireResponse": {
        "status": {"in-progress", "completed", "amended", "entered-in-error", "stopped"}
    },
    "Patient": {
        "name.use": {"usual", "official", "temp", "nickname", "anonymous", "old", "maiden"},
        "identifier.use": {"usual", "official", "temp", "secondary", "old"},
    },
    "Bundle": {
        "type": {
            "document",
            "message",
            "transaction",
            "transaction-response",
            "batch",
            "batch-response",
            "history",
            "searchset",
            "collection",
        }
    },
}


def is_education(procedure: dict[str, Any]) -> bool:
    """Whether a Procedure is patient education that was given."""
    coded = [
        (coding.get("system"), coding.get("code"))
        for coding in procedure.get("category", {}).get("coding", [])
    ]
    return procedure["status"] == "completed" and ("http://snomed.info/sct", "311401005") in coded


def marks(response: dict[str, Any]) -> Decimal:
    """Return the sum of the ordinal values of the answers chosen."""
    found = [
        Decimal(str(extension["valueDecimal"]))
        for item in _items(response)
        for answer in item.get("answer", [])
        for extension in answer.get("valueCoding", {}).get("extension", [])
        if extension["url"] == ORDINAL
    ]
    return sum(found, Decimal(0))


def _items(node: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for item in node.get("item", []):
        yield item
        yield from _items(item)


def codes_out_of_their_value_set(resource: dict[str, Any]) -> list[str]:
    """Return the elements whose code is not one that the binding allows."""
    wrong = []
    for path, allowed in BOUND.get(resource["resourceType"], {}).items():
        found = [value for value in _at(resource, path.split(".")) if value not in allowed]
        wrong += [f"{path}: {value}" for value in found]
    return wrong


def _at(node: Any, path: list[str]) -> Iterator[Any]:
    if isinstance(node, list):
        for one in node:
            yield from _at(one, path)
    elif not path:
        yield node
    elif isinstance(node, dict) and path[0] in node:
        yield from _at(node[path[0]], path[1:])


def references(node: Any) -> Iterator[str]:
    """Yield every reference in a resource."""
    if isinstance(node, dict):
        if isinstance(node.get("reference"), str):
            yield node["reference"]
        for one in node.values():
            yield from references(one)
    elif isinstance(node, list):
        for one in node:
            yield from references(one)
