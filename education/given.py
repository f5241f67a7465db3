"""An answer as it is stored: {"options": [ids]}, {"number": "64"}, {"order": [ids]} or
{"pairs": [[id, id], ...]}, each pair being what is asked and what belongs to it.
"""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from education.rules.scoring import Given


def to_json(given: Given) -> dict[str, Any]:
    """Return the stored form of an answer."""
    if given.number is not None:
        return {"number": str(given.number)}
    if given.order:
        return {"order": list(given.order)}
    if given.pairs:
        return {"pairs": [list(pair) for pair in sorted(given.pairs)]}
    return {"options": sorted(given.options)}


def from_json(stored: Mapping[str, Any]) -> Given:
    """Read the stored form of an answer."""
    if "number" in stored:
        return Given(number=Decimal(stored["number"]))
    if "order" in stored:
        return Given(order=tuple(stored["order"]))
    if "pairs" in stored:
        return Given(pairs=frozenset((asked, answered) for asked, answered in stored["pairs"]))
    return Given(options=frozenset(stored["options"]))
