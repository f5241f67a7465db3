"""Make the clearance record a PDF: tagged, with the patient's identifiers on each page.

It gets the record as data, never as markup; how characters without a font are told stands in
clinic/typeset.py.
"""

from pathlib import Path

from clinic.evidence.pdf_words import blocks, document
from clinic.evidence.record import ClearanceRecord
from clinic.typeset import Data, typeset

TEMPLATE = Path(__file__).with_name("clearance_record.typ")


def write(record: ClearanceRecord, *, ignore_system_fonts: bool = False) -> bytes:
    """Return the document. `ignore_system_fonts`: only the typesetter's own."""
    around = document(record)

    def data(undrawn: bool) -> Data:
        return {**around, "blocks": blocks(record, undrawn=undrawn)}

    return typeset(TEMPLATE, "record", data, ignore_system_fonts=ignore_system_fonts)
