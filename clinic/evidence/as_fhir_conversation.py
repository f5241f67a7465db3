"""A teach-back as a FHIR R4 Communication: what was asked and said, and how it ended."""

from clinic.evidence.fhir_parts import Json, Names, concept, instant
from clinic.evidence.record import PointSaid, TaughtBack

UNDERSTOOD = {True: "understood", False: "not yet", None: "not gone through"}


def communication(held: TaughtBack, patient: int, names: Names) -> Json:
    """Return the resource (hl7.org/fhir/R4/communication.html); its `about` is what it was for.

    One that never took place is "entered-in-error". `medium` and `category` have example bindings,
    so words do.
    """
    about = [names.to("requirement", held.requirement_id)]
    about += [names.to("clearance", held.clearance_id)] if held.clearance_id else []
    next_on = f"next contact {held.next_on.isoformat()}" if held.next_on else ""
    more = "one more attempt at the quiz" if held.one_more_attempt else ""
    ended = [held.outcome.replace("_", " "), next_on, more, held.made.reason]
    return {
        "resourceType": "Communication",
        "id": names.id("teach-back", held.id),
        "status": "entered-in-error" if held.never else "completed",
        "statusReason": concept(held.never.reason) if held.never else {},
        "category": [concept("teach-back")],
        "medium": [concept(held.means)],
        "subject": names.to("patient", patient),
        "topic": concept(f"Teach-back: {held.title}"),
        "about": about,
        "sent": instant(held.made.at),
        "recipient": [names.to("patient", patient)],
        "sender": {"display": held.made.by},
        "payload": [{"contentString": _point(point)} for point in held.points],
        "note": [{"text": "; ".join(filter(None, ended))}],
    }


def _point(point: PointSaid) -> str:
    marks = [UNDERSTOOD[point.understood]]
    marks += ["safety-critical"] if point.safety_critical else []
    marks += ["missed in a quiz"] if point.missed else []
    said = f" Said: {point.said}" if point.said else ""
    return f"{point.stem} ({', '.join(marks)}) Asked: {point.asked}{said}"
