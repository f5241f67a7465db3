"""What stands in a FHIR R4 bundle?  Bytes in; one part for each operation out, references resolved.

Plain JSON (hl7.org/fhir/R4/json.html) and nothing else: what the format forbids (a name twice in
one object, no object at all) refuses the whole, because two readers could read it differently.
"""

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NoReturn

from patients.rules.message_reading import MAX_MESSAGE_BYTES, MessageRefusal, NotTaken, Part

# Far above what a schedule needs.
MAX_ENTRIES = 10_000
MAX_DEPTH = 40

Json = Mapping[str, Any]
OPERATIONS = ("Appointment", "ServiceRequest")
# The kinds of bundle that can carry a schedule; a history or a document cannot.
KINDS = ("collection", "searchset", "message", "transaction", "batch")


@dataclass(frozen=True)
class Entry:
    """One resource of a bundle; `line` is its entry's number from 1, `url` its full address."""

    line: int
    url: str
    resource: Json

    @property
    def kind(self) -> str:
        return text(self.resource.get("resourceType"))

    @property
    def names(self) -> tuple[str, ...]:
        """What a reference elsewhere in the bundle may call it."""
        own = f"{self.kind}/{text(self.resource.get('id'))}" if self.resource.get("id") else ""
        return tuple(name for name in (self.url, own) if name)


def text(value: object) -> str:
    """Return a JSON text; empty for anything else."""
    return value if isinstance(value, str) else ""


def items(value: object) -> list[Json]:
    """Return the objects of a JSON array; none for anything else."""
    return [one for one in value if isinstance(one, dict)] if isinstance(value, list) else []


def inside(value: object) -> Json:
    """Return a JSON object; an empty one for anything else."""
    return value if isinstance(value, dict) else {}


def read_json(data: bytes) -> Json:
    """Read one JSON object, strictly. Raises NotTaken."""
    if data.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"<"):
        raise NotTaken(MessageRefusal.XML)
    try:
        written = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise NotTaken(MessageRefusal.CHARACTER_SET, detail="UTF-8") from error
    try:
        found = json.loads(written, object_pairs_hook=_once, parse_constant=_no_constant)
    except RecursionError as error:
        raise NotTaken(MessageRefusal.TOO_DEEP) from error
    except ValueError as error:
        raise NotTaken(MessageRefusal.NOT_JSON) from error
    if not isinstance(found, dict):
        raise NotTaken(MessageRefusal.NOT_JSON)
    _within_depth(found)
    return found


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise NotTaken(MessageRefusal.NAME_TWICE)
    return found


def _no_constant(written: str) -> NoReturn:
    raise ValueError(written)  # NaN and Infinity are not JSON


def _within_depth(found: Json) -> None:
    """Refuse what is nested too deep, and halves of characters that no database takes."""
    layer: list[object] = [found]
    for _ in range(MAX_DEPTH):
        below: list[object] = []
        for one in layer:
            if isinstance(one, dict):
                below += [*one.keys(), *one.values()]
            elif isinstance(one, list):
                below += one
            elif isinstance(one, str) and not one.isascii():
                try:
                    one.encode()
                except UnicodeEncodeError as error:
                    raise NotTaken(MessageRefusal.CHARACTER_SET, detail="UTF-8") from error
        if not below:
            return
        layer = below
    raise NotTaken(MessageRefusal.TOO_DEEP)


def entries_of(bundle: Json) -> list[Entry]:
    """Return the resources of a bundle, or the one resource that stands alone. Raises NotTaken."""
    kind = text(bundle.get("resourceType"))
    if kind in OPERATIONS:
        return [Entry(1, "", bundle)]
    if kind != "Bundle":
        raise NotTaken(MessageRefusal.WRONG_RESOURCE, "resourceType", kind[:40])
    if text(bundle.get("type")) not in KINDS:
        raise NotTaken(MessageRefusal.WRONG_RESOURCE, "Bundle.type", text(bundle.get("type"))[:40])
    written = bundle.get("entry")
    if isinstance(written, list) and len(written) > MAX_ENTRIES:
        raise NotTaken(MessageRefusal.TOO_MANY_ENTRIES, detail=str(MAX_ENTRIES))
    return [
        Entry(line, text(one.get("fullUrl")), one["resource"])
        for line, one in enumerate(written if isinstance(written, list) else [], start=1)
        if isinstance(one, dict) and isinstance(one.get("resource"), dict)
    ]


def split_bundle(data: bytes) -> list[Part]:
    """Part a bundle into one small bundle for each operation, with all that it refers to.

    An appointment and the request that it is based on, and resources under one identifier, are one
    operation: if they disagree, the part contradicts itself. Raises NotTaken.
    """
    bundle = read_json(data)
    entries = entries_of(bundle)
    operations = [entry for entry in entries if entry.kind in OPERATIONS]
    if not operations:
        raise no_operation(entries)
    by_name = named(entries)
    headers = [entry for entry in entries if entry.kind == "MessageHeader"][:1]
    parts = []
    for group in _groups(operations, by_name):
        needed = {entry.line: entry for entry in (*headers, *group)}
        for entry in group:
            for url in _references(entry.resource):
                found = meant(url, by_name)
                if found and found.kind not in OPERATIONS:
                    needed[found.line] = found
        parts.append(Part(group[0].line, _part(bundle, list(needed.values()), group[0].line)))
    return parts


def no_operation(entries: Sequence[Entry]) -> NotTaken:
    """Return the refusal of a bundle without an operation, with what it holds instead."""
    kinds = dict.fromkeys(entry.kind[:40] or "no type" for entry in entries)
    return NotTaken(MessageRefusal.NO_OPERATION, detail=", ".join(kinds)[:200] or "nothing")


def named(entries: Sequence[Entry]) -> dict[str, Entry]:
    """Return what can be referred to, by name. Raises NotTaken when a name means two people."""
    found: dict[str, Entry] = {}
    for entry in entries:
        for name in entry.names:
            other = found.setdefault(name, entry)
            if other.resource != entry.resource and entry.kind not in OPERATIONS:
                raise NotTaken(MessageRefusal.NAME_TWICE)
    return found


def meant(url: str, by_name: Mapping[str, Entry]) -> Entry | None:
    """Return what a reference means: by full address, or by kind and id, whatever the version."""
    plain = url.split("/_history/")[0]
    return by_name.get(plain) or by_name.get("/".join(plain.split("/")[-2:]))


def _groups(operations: Sequence[Entry], by_name: Mapping[str, Entry]) -> list[list[Entry]]:
    """Put together what speaks of one operation."""
    group_of: dict[int, list[Entry]] = {}
    first_with: dict[str, Entry] = {}
    for entry in operations:
        group_of[entry.line] = [entry]
    for entry in operations:
        others = [found for url in _based_on(entry) if (found := meant(url, by_name))]
        for name in identifiers(entry.resource):
            others.append(first_with.setdefault("|".join(name), entry))
        for other in others:
            one, two = group_of[entry.line], group_of.get(other.line)
            if two is not None and one is not two:
                two += one
                for moved in one:
                    group_of[moved.line] = two
    groups = {id(group): group for group in group_of.values()}
    return [sorted(group, key=lambda entry: entry.line) for group in groups.values()]


def identifiers(resource: Json) -> list[tuple[str, str]]:
    """Return the system and value of each identifier in use."""
    return [
        (text(one.get("system")), text(one.get("value")))
        for one in items(resource.get("identifier"))
        if text(one.get("value")) and one.get("use") != "old"
    ]


def _based_on(entry: Entry) -> Iterator[str]:
    for one in items(entry.resource.get("basedOn")):
        yield text(one.get("reference"))


def _references(value: object) -> Iterator[str]:
    if isinstance(value, dict):
        if isinstance(value.get("reference"), str):
            yield value["reference"]
        for one in value.values():
            yield from _references(one)
    elif isinstance(value, list):
        for one in value:
            yield from _references(one)


def _part(bundle: Json, entries: Sequence[Entry], line: int) -> bytes:
    """Return a bundle of these entries under the whole one's name and time.

    A bundle without an identifier of its own is named by what is in it: sent again, it is the same.
    """
    resources = [
        ({"fullUrl": entry.url} if entry.url else {}) | {"resource": entry.resource}
        for entry in sorted(entries, key=lambda entry: entry.line)
    ]
    whole: dict[str, Any] = {"resourceType": "Bundle", "type": "collection"}
    own_id = text(inside(bundle.get("identifier")).get("value"))
    if own_id:
        whole["identifier"] = {
            "system": text(inside(bundle.get("identifier")).get("system")),
            "value": f"{own_id}#{line}",
        }
    if text(bundle.get("timestamp")):
        whole["timestamp"] = text(bundle.get("timestamp"))
    whole["entry"] = resources
    return json.dumps(whole, ensure_ascii=False, separators=(",", ":")).encode()


def control_id(bundle: Json, content: bytes) -> str:
    """Return the name under which a part comes once."""
    own_id = text(inside(bundle.get("identifier")).get("value"))
    if own_id and len(own_id) < 200 and "\x00" not in own_id:
        return own_id
    return f"sha256:{hashlib.sha256(content).hexdigest()}"


def within_length(content: bytes) -> None:
    """Refuse a part that is longer than a message may be."""
    if len(content) > MAX_MESSAGE_BYTES:
        raise NotTaken(MessageRefusal.TOO_LONG)
