"""What is on record, as the comparison with a schedule sees it: plain values, no records."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

PROPOSED, CONFIRMED, ON_HOLD, DONE, CANCELLED = (
    "proposed",
    "confirmed",
    "on_hold",
    "done",
    "cancelled",
)
OPEN = frozenset({PROPOSED, CONFIRMED, ON_HOLD})


@dataclass(frozen=True)
class KnownProcedure:
    id: int
    code: str
    name: str


@dataclass(frozen=True)
class KnownPatient:
    """`id` is None for a patient whom an earlier row of the same file enrols.

    It is no part of the text that tells previews apart (repr): a preview of messages enrols and
    takes back, and PostgreSQL gives no id twice.

    `spoken_for_by` is the record number of the patient who speaks for a record that was merged;
    empty for everybody who is on the register.
    """

    id: int | None = field(repr=False)
    mrn: str
    given_names: str
    family_names: str
    birth_date: date
    email: str
    phone: str
    language: str
    name_key: str
    spoken_for_by: str = ""


@dataclass(frozen=True)
class KnownOperation:
    """`booked_by_file`: a schedule file set the booking that it has now, not a person here.

    `id` as in KnownPatient.
    """

    id: int | None = field(repr=False)
    mrn: str
    procedure_id: int
    case_number: str
    surgeon: str
    facility: str
    or_date: date | None
    booking: str
    booked_by_file: bool
    version: int

    @property
    def is_open(self) -> bool:
        return self.booking in OPEN


def mrn_key(mrn: str) -> str:
    """Return what is equal for one record number however it is written."""
    return mrn.strip().lower()


@dataclass(frozen=True)
class Known:
    """Everything on record that the rows of one schedule could touch.

    `patients` holds those with the rows' record numbers and those with the rows' names, and who
    speaks for them where they were merged; `operations` holds all of the first and of those who
    speak for them, and those with the rows' case numbers.
    """

    procedures: Sequence[KnownProcedure]
    patients: Sequence[KnownPatient]
    operations: Sequence[KnownOperation]
