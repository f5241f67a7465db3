"""The three forms in which a clearance record leaves the system."""

import json
import re

from django.conf import settings

from clinic.evidence import as_csv, as_fhir, as_pdf
from clinic.evidence.record import ClearanceRecord

TYPES = {
    "pdf": "application/pdf",
    "csv": "text/csv; charset=utf-8",
    "fhir": "application/fhir+json; charset=utf-8",
}
ENDING = {"pdf": "pdf", "csv": "csv", "fhir": "json"}


def content(record: ClearanceRecord, form: str) -> bytes:
    """Return the record as a file of one of the forms: pdf, csv, fhir."""
    if form == "pdf":
        return as_pdf.write(record)
    if form == "csv":
        return as_csv.write(record)
    bundle = as_fhir.write(record, site=settings.PUBLIC_URL)
    return json.dumps(bundle, ensure_ascii=False, indent=1).encode()


def file_name(record: ClearanceRecord, form: str) -> str:
    """Two patients' files must not be taken for each other; a name has no place in a file name."""
    mrn = re.sub(r"[^A-Za-z0-9-]+", "-", record.person.mrn).strip("-") or str(record.person.id)
    return f"clearance-record-{mrn}-{record.on.isoformat()}.{ENDING[form]}"
