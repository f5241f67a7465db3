"""How can a cell be written to a CSV file so that no spreadsheet runs it, and read back unchanged?

A cell that a spreadsheet would take for a formula gets one apostrophe in front; reading takes one
away again. Apostrophes that were there before count along, so nothing is lost either way.
Source: OWASP, CSV Injection (standards row CSV-2, which is marked there as from memory).
"""

import re

# What starts a formula, also in full width, and also behind blanks or line ends.
FORMULA = re.compile(r"'*\s*[=+\-@\t\r\n＝＋－＠]")
NEUTRALISED = re.compile(r"'+\s*[=+\-@\t\r\n＝＋－＠]")


def neutralise(cell: str) -> str:
    """Return the cell so that a spreadsheet shows it as text."""
    return f"'{cell}" if FORMULA.match(cell) else cell


def restore(cell: str) -> str:
    """Return what `neutralise` was given; other cells come through unchanged."""
    return cell[1:] if cell.startswith("'") and NEUTRALISED.match(cell) else cell
