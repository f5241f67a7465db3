"""A record that is read from a command line stands in the trail, as one that is read on a page."""

import getpass
from collections.abc import Sequence
from datetime import datetime

from clinic.trail import record
from patients.models import Patient


def note_in_trail(
    command: str, *, at: datetime, patients: Sequence[Patient] = (), found: bool = True
) -> None:
    """Append an entry for each patient, or one that nobody was found.

    Who asked is known by the account on the machine alone: nobody signs in to a command line.
    """
    detail = {"account": account(), "found": found}
    for patient_id in dict.fromkeys(patient.pk for patient in patients) or (None,):
        record(act=f"command {command}", at=at, by_id=None, patient_id=patient_id, detail=detail)


def account() -> str:
    """Return the name of the machine's account, as far as it is known."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "unknown"
