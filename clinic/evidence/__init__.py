"""One patient's clearance record: gathered once, written as PDF, CSV or FHIR."""
