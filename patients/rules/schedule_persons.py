"""Can a row of a schedule and a record be the same person?

Asked when the record number says they are. A different date of birth or given name says that the
number is wrong (twins share family name and birthday); a new family name is a change of name.
"""

from patients.rules.name_likeness import Alike, NameLikeness, comparisons
from patients.rules.names import name_tokens, normal_name
from patients.rules.schedule_known import KnownPatient
from patients.rules.schedule_rows import ScheduleRow

UNLIKE = frozenset({Alike.DIFFERENT, Alike.RESEMBLES})


def another_person(row: ScheduleRow, other: KnownPatient | ScheduleRow) -> bool:
    """Say whether the row is about somebody else than the record or row with its number."""
    if row.birth_date != other.birth_date:
        return True
    if (row.given_names, row.family_names) == (other.given_names, other.family_names):
        return False
    if any(likeness.given not in UNLIKE for likeness in _likenesses(row, other)):
        return False
    return not set(name_tokens(row.given_names)) & set(name_tokens(other.given_names))


def family_name_is_new(row: ScheduleRow, other: KnownPatient) -> bool:
    """Say whether the row writes a wholly different family name."""
    return all(likeness.family in UNLIKE for likeness in _likenesses(row, other))


def _likenesses(row: ScheduleRow, other: KnownPatient | ScheduleRow) -> tuple[NameLikeness, ...]:
    return comparisons(
        normal_name(row.given_names, row.family_names),
        normal_name(other.given_names, other.family_names),
    )
