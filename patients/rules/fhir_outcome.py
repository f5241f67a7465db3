"""What is answered to a FHIR bundle?  An OperationOutcome (hl7.org/fhir/R4/operationoutcome.html).

It says which entry, where in it and why, and no fact about a patient: whoever keeps the sender's
log is not to learn from it who is operated on.
"""

import json
import re
from dataclasses import dataclass
from enum import StrEnum

PATH = re.compile(r"[A-Z][A-Za-z]+(\.[a-z][A-Za-z]*)*", re.ASCII)


class Severity(StrEnum):
    """Value set issue-severity, as far as it is used."""

    ERROR = "error"
    WARNING = "warning"
    INFORMATION = "information"


class Code(StrEnum):
    """Value set issue-type, as far as it is used."""

    STRUCTURE = "structure"
    VALUE = "value"
    TOO_LONG = "too-long"
    NOT_SUPPORTED = "not-supported"
    DUPLICATE = "duplicate"
    LOGIN = "login"
    THROTTLED = "throttled"
    TRANSIENT = "transient"
    BUSINESS_RULE = "business-rule"
    INFORMATIONAL = "informational"


@dataclass(frozen=True)
class Issue:
    """One thing that is said; `where` is a path in the resource, or nothing."""

    severity: Severity
    code: Code
    text: str
    where: str = ""


def outcome(*issues: Issue) -> bytes:
    """Return the OperationOutcome as JSON."""
    written = [
        {
            "severity": issue.severity,
            "code": issue.code,
            "details": {"text": issue.text},
        }
        | ({"expression": [issue.where]} if PATH.fullmatch(issue.where) else {})
        for issue in issues
    ]
    return json.dumps({"resourceType": "OperationOutcome", "issue": written}).encode()
