"""Read a clearance record that left as FHIR, and hold it against what is stored, line by line.

What is stored is written anew as it would leave today, and the two bundles are compared resource by
resource. Names of resources are the same each time (`fhir_parts.Names`), so each finds its own.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from clinic.evidence.fhir_parts import Json
from patients.rules.fhir_bundle import read_json, text
from patients.rules.message_reading import NotTaken

# What one entry is called by, the first that it has.
SAID_BY = (
    "activity.text",
    "topic.text",
    "title",
    "code.text",
    "description",
    "name.0.text",
    "serviceType.0.text",
)
DAYS = (
    "recorded",
    "sent",
    "performedDateTime",
    "authored",
    "requestedPeriod.0.start",
    "authoredOn",
)
SHORT = 60  # characters of a value that are shown


class Verdict(StrEnum):
    """What became of one resource of the file."""

    AGREES = "agrees"
    DIFFERS = "differs"
    NOT_STORED = "not_stored"  # the file has it, the record has not
    NOT_IN_FILE = "not_in_file"


class NotARecord(Exception):
    """The file is no clearance record that this installation wrote; the message says why."""


@dataclass(frozen=True)
class Difference:
    """One element that differs: its path, and both values; empty where there is none."""

    path: str
    in_file: str
    stored: str


@dataclass(frozen=True)
class Line:
    """One resource: its type, what it is about, and what differs in it."""

    kind: str
    about: str
    verdict: Verdict
    differences: tuple[Difference, ...] = ()


@dataclass(frozen=True)
class Written:
    """A clearance record as it was written: whose, when, and its resources by their addresses."""

    mrn: str
    made_at: str
    entries: Mapping[str, Json]


def read(data: bytes) -> Written:
    """Read a bundle that `as_fhir` wrote. Raises NotARecord."""
    try:
        bundle = read_json(data)
    except NotTaken as refused:
        raise NotARecord(f"It is no FHIR in JSON ({refused.refusal.value}).") from refused
    kind = text(bundle.get("resourceType"))
    if kind != "Bundle":
        raise NotARecord(f"It is a {kind[:40] or 'JSON file'}, no Bundle.")
    entries: dict[str, Json] = {}
    listed = bundle.get("entry")
    for entry in listed if isinstance(listed, list) else []:
        url = text(entry.get("fullUrl")) if isinstance(entry, dict) else ""
        resource = entry.get("resource") if url else None
        if not isinstance(resource, dict):
            raise NotARecord("An entry has no address or no resource.")
        if url in entries:
            raise NotARecord(f"Two entries have the address {url[:60]}.")
        entries[url] = resource
    return Written(_mrn(entries), text(bundle.get("timestamp")), entries)


def compare(found: Written, stored: Written) -> list[Line]:
    """Compare a file with what is stored, in the order of the record; what only the file has, last.

    `stored` is the record as it would be written now. Raises NotARecord when the patient's own
    entry is another one: then another installation wrote the file.
    """
    ours = stored.entries
    patients = {url for url, one in ours.items() if one.get("resourceType") == "Patient"}
    if not patients & set(found.entries):
        raise NotARecord("It was written by another installation, or for another patient.")
    lines = []
    for url, resource in ours.items():
        other = found.entries.get(url)
        if other is None:
            lines.append(_line(resource, Verdict.NOT_IN_FILE))
            continue
        differences = tuple(_differences("", other, resource))
        verdict = Verdict.DIFFERS if differences else Verdict.AGREES
        lines.append(_line(resource, verdict, differences))
    beside = (one for url, one in found.entries.items() if url not in ours)
    return [*lines, *(_line(one, Verdict.NOT_STORED) for one in beside)]


def _mrn(entries: Mapping[str, Json]) -> str:
    patients = [one for one in entries.values() if one.get("resourceType") == "Patient"]
    if len(patients) != 1:
        raise NotARecord(f"It is about {len(patients)} patients, not about one.")
    numbers = patients[0].get("identifier")
    for number in numbers if isinstance(numbers, list) else []:
        if isinstance(number, dict) and number.get("use") == "official":
            return text(number.get("value"))
    raise NotARecord("Its patient has no record number.")


def _line(resource: Json, verdict: Verdict, differences: tuple[Difference, ...] = ()) -> Line:
    said = next((one for path in SAID_BY if (one := _at(resource, path))), "")
    day = next((one[:10] for path in DAYS if (one := _at(resource, path))), "")
    about = ", ".join(part for part in (said, day) if part)
    return Line(text(resource.get("resourceType"))[:40], about[:120], verdict, differences)


def _at(node: Any, path: str) -> str:
    for step in path.split("."):
        if isinstance(node, list) and step.isdecimal():
            node = node[int(step)] if int(step) < len(node) else None
        else:
            node = node.get(step) if isinstance(node, dict) else None
    return text(node)


def _differences(path: str, one: Any, other: Any) -> Iterator[Difference]:
    """Yield every element of two resources that is not the same in both."""
    if isinstance(one, dict) and isinstance(other, dict):
        for key in dict.fromkeys([*other, *one]):
            yield from _differences(f"{path}.{key}".lstrip("."), one.get(key), other.get(key))
    elif isinstance(one, list) and isinstance(other, list):
        for place in range(max(len(one), len(other))):
            pair = [rows[place] if place < len(rows) else None for rows in (one, other)]
            yield from _differences(f"{path}[{place}]", *pair)
    elif type(one) is not type(other) or one != other:
        yield Difference(path, _shown(one), _shown(other))


def _shown(value: Any) -> str:
    if value is None:
        return ""
    said = value if isinstance(value, str) else str(value)
    return said if len(said) <= SHORT else f"{said[: SHORT - 1]}…"
