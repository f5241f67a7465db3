"""How did somebody say that a schedule is read?  A file's columns and words, a sender's words.

A file is remembered under its headings, in any order, the sender of messages under its name.

A file without a line of headings has the headings "Column 1", "Column 2" and so on: so a file of
its rejected rows, which does have that line, is read the same way when it comes back.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence

from patients.rules.schedule_columns import NOTES_PLAIN, Column, Header, plain

OF_A_SENDER = "sender "
LONGEST_KEY = 64

# A heading as it is compared; and, where a file has it more than once, which of them.
Place = tuple[str, int]


def written(text: str) -> str:
    """Return a heading or word in the form in which equal ones are equal."""
    return " ".join(text.casefold().split())


def is_note(heading: str) -> bool:
    """Say whether a column is one that a file of rejected rows has in front."""
    return plain(heading) in NOTES_PLAIN


def numbered(count: int) -> tuple[str, ...]:
    """Return the headings of a file that has none."""
    return tuple(f"Column {number}" for number in range(1, count + 1))


def key_of(headings: Sequence[str]) -> str:
    """Return one text for the same headings in any order."""
    names = sorted(written(heading) for heading in headings if not is_note(heading))
    return hashlib.sha256(json.dumps(names).encode("utf-8", "surrogatepass")).hexdigest()


def sender_key(format: str, sender: str) -> str:
    """Return the text under which the words of one sender of messages are remembered."""
    name = json.dumps([format, written(sender)])
    digest = hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()
    return f"{OF_A_SENDER}{digest}"[:LONGEST_KEY]


def place_of(headings: Sequence[str], number: int) -> Place:
    """Return how the column with this number is remembered."""
    name = written(headings[number])
    return name, [written(heading) for heading in headings[:number]].count(name)


def header_of(columns: Mapping[Column, Place], headings: Sequence[str]) -> Header:
    """Find the remembered columns among a file's headings."""
    numbers = {place_of(headings, number): number for number in range(len(headings))}
    places = {column: numbers[place] for column, place in columns.items() if place in numbers}
    used = set(places.values())
    unused = tuple(
        heading for number, heading in enumerate(headings) if number not in used and heading.strip()
    )
    return Header(places, unused, ())
