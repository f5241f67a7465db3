"""Make the clearance record a PDF: tagged, with the patient's identifiers on each page.

The typesetter is typst. It gets the record as data, never as markup. Its own fonts come first
(Latin, Greek, Cyrillic, Hebrew), then whatever fonts the machine has; nothing is downloaded. A
character that no font can draw is printed as its Unicode number, and the document says so: a name
never comes out as empty boxes.
"""

import json
import re
import unicodedata
from pathlib import Path
from typing import Any

import typst

from clinic.evidence.pdf_words import blocks, document
from clinic.evidence.record import ClearanceRecord

TEMPLATE = Path(__file__).with_name("clearance_record.typ")
UNDRAWN = re.compile(r'the text `"(.+?)"` could not be displayed')
# Which order a line is read in is the document's matter: these turn the text behind them round.
TURNS = frozenset("\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
TRIES = 8
UNIVERSAL_ACCESS = "ua-1"  # PDF/UA-1, ISO 14289-1


def write(record: ClearanceRecord, *, ignore_system_fonts: bool = False) -> bytes:
    """Return the document. `ignore_system_fonts`: only the typesetter's own."""
    data = document(record)
    undrawn: set[str] = set()
    for _ in range(TRIES):
        shown = _spelled_out({**data, "blocks": blocks(record, undrawn=bool(undrawn))}, undrawn)
        try:
            return _compiled(shown, ignore_system_fonts, standard=[UNIVERSAL_ACCESS])
        except typst.TypstError as refused:
            found = set("".join(UNDRAWN.findall(f"{refused.message}\n{refused.diagnostic}")))
            if not found - undrawn:
                break
            undrawn |= found
    return _compiled(shown, ignore_system_fonts, standard=[])


def _compiled(data: dict[str, Any], ignore_system_fonts: bool, *, standard: list[Any]) -> bytes:
    compiler = typst.Compiler(
        TEMPLATE,
        root=TEMPLATE.parent,
        ignore_system_fonts=ignore_system_fonts,
        sys_inputs={"record": json.dumps(data)},
    )
    made = compiler.compile(format="pdf", pdf_standards=standard)
    if not isinstance(made, bytes):
        raise TypeError("a PDF is one file")
    return made


def _spelled_out(value: Any, undrawn: set[str]) -> Any:
    """Put a Unicode number in place of each character that cannot be drawn or is not to be."""
    if isinstance(value, str):
        return "".join(
            f"[U+{ord(char):04X}]" if char in undrawn or _hidden(char) else char for char in value
        )
    if isinstance(value, list):
        return [_spelled_out(one, undrawn) for one in value]
    if isinstance(value, dict):
        return {key: _spelled_out(one, undrawn) for key, one in value.items()}
    return value


def _hidden(char: str) -> bool:
    return char in TURNS or (unicodedata.category(char) == "Cc" and char not in "\n\t")
