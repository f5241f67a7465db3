"""In which formats do schedule messages come?"""

from enum import StrEnum


class MessageFormat(StrEnum):
    """One code for each format that has a reader."""

    HL7_V2 = "hl7v2"
    FHIR_R4 = "fhir-r4"
