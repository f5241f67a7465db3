"""A record's id, as a form or an address says it."""

DIGITS = 18  # what always fits into a database's number


def id_in(text: str) -> int:
    """Return the number that a text is; 0, which no record has, if an id cannot be that."""
    return int(text) if text.isdecimal() and len(text) <= DIGITS else 0
