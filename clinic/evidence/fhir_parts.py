"""The small parts that FHIR resources are made of: identities, references, concepts, instants."""

import uuid
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

Json = dict[str, Any]


@dataclass(frozen=True)
class Names:
    """Names each record by a UUID that is always the same for it, and another one elsewhere."""

    site: str

    @property
    def space(self) -> uuid.UUID:
        """The name space of this installation (RFC 9562, version 5)."""
        return uuid.uuid5(uuid.NAMESPACE_URL, self.site)

    def id(self, kind: str, key: object) -> str:
        """Return the id of a resource."""
        return str(uuid.uuid5(self.space, f"{kind} {key}"))

    def to(self, kind: str, key: object) -> Json:
        """Return a reference to an entry of the bundle."""
        return {"reference": f"urn:uuid:{self.id(kind, key)}"}


def concept(text: str) -> Json:
    """Return a CodeableConcept that says it in words; nothing for no words."""
    return {"text": text} if text else {}


def instant(at: datetime) -> str:
    """Return an instant in UTC."""
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z")


def without_empty(value: Any) -> Any:
    """Leave out what is empty: in FHIR an element that is there has a value."""
    if isinstance(value, dict):
        kept = {key: without_empty(one) for key, one in value.items()}
        return {key: one for key, one in kept.items() if one not in ("", None, [], {})}
    if isinstance(value, list):
        return [without_empty(one) for one in value]
    return value
