"""What do the data types of FHIR R4 say?  Names, codes, telecoms and references, as plain text.

Source: hl7.org/fhir/R4/datatypes.html. Whatever has another shape than the standard's is empty.
"""

from typing import Any

from patients.rules.fhir_bundle import Entry, Json, inside, items, text


def starts(entry: Entry) -> list[tuple[str, str]]:
    """Return every place of a resource that says when, and what it says."""
    resource = entry.resource
    period = inside(resource.get("occurrencePeriod"))
    places: list[tuple[str, Any]] = (
        [("start", resource.get("start"))]
        if entry.kind == "Appointment"
        else [
            ("occurrenceDateTime", resource.get("occurrenceDateTime")),
            ("occurrencePeriod.start", period.get("start")),
        ]
    )
    return [(f"{entry.kind}.{name}", str(value)) for name, value in places if value]


def concepts(entry: Entry) -> list[Json]:
    """Return the concepts that may name the procedure, the likeliest first."""
    resource = entry.resource
    if entry.kind == "ServiceRequest":
        return [inside(resource.get("code"))] if resource.get("code") else []
    return [
        *items(resource.get("serviceType")),
        *items(resource.get("reasonCode")),
        *([inside(resource["appointmentType"])] if resource.get("appointmentType") else []),
    ]


def words_of(concept: Json) -> tuple[str, ...]:
    """Return a concept's words: its text, then the display of each code."""
    displays = (text(one.get("display")) for one in items(concept.get("coding")))
    return tuple(word for word in (text(concept.get("text")), *displays) if word)


def codes_of(concept: Json) -> list[str]:
    return [code for one in items(concept.get("coding")) if (code := text(one.get("code")))]


def name_in_use(resource: Json) -> Json:
    """Return the name to use: the official one, then the usual one, then any that is not old."""
    names = [one for one in items(resource.get("name")) if one.get("use") != "old"]
    for use in ("official", "usual"):
        for one in names:
            if one.get("use") == use:
                return one
    return names[0] if names else {}


def name_of(resource: Json) -> tuple[str, str]:
    """Return given and family names. Initials behind the first name are not how people write."""
    name = name_in_use(resource)
    written = name.get("given")
    given = [text(one) for one in written] if isinstance(written, list) else []
    kept = [one for place, one in enumerate(given) if not place or len(one.strip(".")) > 1]
    suffix = [text(one) for one in name["suffix"]] if isinstance(name.get("suffix"), list) else []
    return " ".join(kept).strip(), " ".join([text(name.get("family")), *suffix]).strip()


def said_name(resource: Json | None) -> str:
    """Return a practitioner's name as it is said."""
    if not resource:
        return ""
    name = name_in_use(resource)
    prefix = [text(one) for one in name["prefix"]] if isinstance(name.get("prefix"), list) else []
    return " ".join([*prefix, *name_of(resource)]).strip() or text(name.get("text"))


def telecom(patient: Json, system: str) -> str:
    """Return the first number or address of a kind that is in use."""
    return next(
        (
            text(one.get("value"))
            for one in items(patient.get("telecom"))
            if one.get("system") == system and one.get("use") != "old"
        ),
        "",
    )


def kind_of(reference: Json) -> str:
    """Return what an unresolved reference says that it means."""
    named = text(reference.get("reference")).split("/")
    return text(reference.get("type")) or (named[-2] if len(named) > 1 else "")
