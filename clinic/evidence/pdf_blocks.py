"""The forms of a block of the clearance record's document, and how an instant is said in it."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from clinic.day_words import day

Block = dict[str, Any]


def heading(text: str, level: int = 2) -> Block:
    """Return a heading."""
    return {"kind": "heading", "level": level, "text": text}


def strong(text: str) -> Block:
    """Return a paragraph that stands out."""
    return {"kind": "strong", "text": text}


def text(text: str) -> Block:
    """Return a paragraph."""
    return {"kind": "text", "text": text}


def facts(rows: Iterable[tuple[str, str]]) -> Block:
    """Return names with what they are."""
    return {"kind": "facts", "rows": [list(row) for row in rows]}


def table(head: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[int]) -> Block:
    """Return a table; `widths` are the shares of its columns."""
    return {
        "kind": "table",
        "head": list(head),
        "rows": [list(row) for row in rows],
        "widths": list(widths),
    }


def at_zone(at: datetime, zone: ZoneInfo) -> str:
    """Return an instant as local date and time with its zone: 5 December 2026, 08:12 MST."""
    there = at.astimezone(zone)
    return f"{day(there.date())}, {there:%H:%M %Z}"
