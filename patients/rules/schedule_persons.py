"""Can a row of a schedule and a record be the same person?

Asked when the record number says they are. A different date of birth or given name says that the
number is wrong (twins share family name and birthday); a new family name is a change of name.
"""

from typing import Protocol

from patients.rules.name_likeness import Alike
from patients.rules.names import name_tokens, normal_name
from patients.rules.names_beside import NameLikeness, comparisons
from patients.rules.schedule_known import KnownPatient
from patients.rules.schedule_rows import ScheduleRow

UNLIKE = frozenset({Alike.DIFFERENT, Alike.RESEMBLES})


class Called(Protocol):
    """Whoever has a name: a row, a record, a claim."""

    @property
    def given_names(self) -> str: ...

    @property
    def family_names(self) -> str: ...


def another_person(row: ScheduleRow, other: KnownPatient | ScheduleRow) -> bool:
    """Say whether the row is about somebody else than the record or row with its number."""
    if row.birth_date != other.birth_date:
        return True
    if (row.given_names, row.family_names) == (other.given_names, other.family_names):
        return False
    if any(likeness.given not in UNLIKE for likeness in _likenesses(row, other)):
        return False
    return not set(name_tokens(row.given_names)) & set(name_tokens(other.given_names))


def family_name_is_new(after: Called, before: Called) -> bool:
    """Say whether the family name is a wholly different one."""
    return all(likeness.family in UNLIKE for likeness in _likenesses(after, before))


def _likenesses(one: Called, other: Called) -> tuple[NameLikeness, ...]:
    return comparisons(
        normal_name(one.given_names, one.family_names),
        normal_name(other.given_names, other.family_names),
    )
