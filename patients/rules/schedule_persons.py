"""Can a row of a schedule and a record be the same person?

Asked when the record number says they are. A different date of birth or given name says that the
number is wrong (twins share family name and birthday); a new family name is a change of name.
"""

from patients.rules.identity import Claim, Person, Why, weigh
from patients.rules.names import name_tokens
from patients.rules.schedule_known import KnownPatient
from patients.rules.schedule_rows import ScheduleRow


def another_person(row: ScheduleRow, other: KnownPatient | ScheduleRow) -> bool:
    """Say whether the row is about somebody else than the record or row with its number."""
    if row.birth_date != other.birth_date:
        return True
    if (row.given_names, row.family_names) == (other.given_names, other.family_names):
        return False
    if Why.GIVEN_NAME_DIFFERENT not in _reasons(row, other):
        return False
    return not set(name_tokens(row.given_names)) & set(name_tokens(other.given_names))


def family_name_is_new(row: ScheduleRow, other: KnownPatient) -> bool:
    """Say whether the row writes a wholly different family name."""
    return Why.FAMILY_NAME_DIFFERENT in _reasons(row, other)


def _reasons(row: ScheduleRow, other: KnownPatient | ScheduleRow) -> tuple[Why, ...]:
    claim = Claim(row.given_names, row.family_names, row.birth_date)
    person = Person(0, other.given_names, other.family_names, other.birth_date)
    candidate = weigh(claim, person, None)
    return candidate.reasons if candidate else (Why.GIVEN_NAME_DIFFERENT, Why.FAMILY_NAME_DIFFERENT)
