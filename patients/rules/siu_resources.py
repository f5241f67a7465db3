"""Which procedure, surgeon and place does a scheduling message name?  AIS, AIP and AIL."""

from patients.rules.hl7_text import Message, part
from patients.rules.schedule_names import in_one_case, readable
from patients.rules.schedule_procedures import Procedures

# Table 0206, segment action code: add, delete, update, no change. Anything else in its place says
# that the segment's fields stand one off.
ACTIONS = ("A", "U", "X", "")
TAKEN_AWAY = "D"


def taken(message: Message, name: str, *, shifted: bool = False) -> list[int]:
    """Return which segments of a name count: not those taken away, nor those that are shifted."""
    found = []
    for nth in range(message.count(name)):
        action = message.value(name, 2, nth=nth) if name.startswith("AI") else ""
        parts = message.repetitions(name, 2, nth=nth)[:1] if name.startswith("AI") else []
        is_action = action in ACTIONS and (not parts or len(parts[0]) == 1)
        if is_action or (shifted and action != TAKEN_AWAY):
            found.append(nth)
    return found


def procedure(message: Message, procedures: Procedures) -> tuple[tuple[str, str], str]:
    """Return the procedure's name and code as written, and the names if there are several.

    From AIS-3; without one from SCH-8 or SCH-7, if that is a procedure of the programme.
    """
    services = [
        (message.value("AIS", 3, 2, nth=nth), message.value("AIS", 3, 1, nth=nth))
        for nth in taken(message, "AIS")
        if message.repetitions("AIS", 3, nth=nth)
    ]
    known = {found: named for named in services if (found := procedures.known_as(*named))}
    if len(known) > 1:
        return ("", ""), ", ".join(name or code for name, code in known.values())
    if services:
        return _bounded(next(iter(known.values()), services[0])), ""
    for field in (8, 7):
        named = (message.value("SCH", field, 2), message.value("SCH", field, 1))
        if procedures.known_as(*named):
            return named, ""
    return ("", ""), ""


def surgeon(message: Message) -> tuple[str, str]:
    """Return where the surgeon stands, and their name; no name when nobody can tell which."""
    people = []
    for nth in taken(message, "AIP"):
        role = " ".join(message.value("AIP", 4, place, nth=nth) for place in (1, 2)).casefold()
        named = message.repetitions("AIP", 3, nth=nth)
        if named and "assist" not in role:
            people.append((role, named[0]))
    surgeons = [named for role, named in people if "surgeon" in role]
    if not surgeons and len(people) == 1:
        surgeons = [people[0][1]]
    return "AIP-3", _person(surgeons[0]) if surgeons else ""


def facility(message: Message) -> str:
    """Return the place of the operation: AIL-3.4, or else the first part of AIL-3."""
    for nth in taken(message, "AIL"):
        places = message.repetitions("AIL", 3, nth=nth)
        if places:
            return part(places[0], 4) or part(places[0], 1)
    return ""


def _person(named: list[list[str]]) -> str:
    """An XCN: number, family name, given name, further names, suffix, prefix (Dr)."""
    words = [part(named, place) for place in (6, 3, 2, 5)]
    name = " ".join(word for word in words if word)
    return readable(name) if in_one_case(name) else name


def _bounded(named: tuple[str, str]) -> tuple[str, str]:
    """Keep what is only said back to people within bounds."""
    return named[0][:200], named[1][:200]
