"""By which way did a quiz reach the patient, and its answers come back?"""

from enum import StrEnum


class Way(StrEnum):
    LINK = "link"  # a personal link by email, on the patient's own screen
    PAPER = "paper"  # a printed sheet; staff type what it says
    KIOSK = "kiosk"  # a shared screen in the clinic, taken by the patient
    PHONE = "phone"  # staff read it aloud and type what is said


TYPED_BY_STAFF = frozenset({Way.PAPER, Way.PHONE})
"""What the patient did not type: name, date of birth and answers."""

LEFT_AND_TAKEN_UP = frozenset({Way.LINK, Way.KIOSK})
"""Where a patient who stopped goes on with the same answers behind the next one."""
