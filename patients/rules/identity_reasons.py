"""The typed reasons of the identity rule; the words that people read are in clinic/words.py."""

from enum import StrEnum

from patients.rules.date_likeness import DateAlike
from patients.rules.name_likeness import Alike
from patients.rules.names_beside import NameLikeness


class Why(StrEnum):
    BIRTH_DATE_EQUAL = "birth_date_equal"
    BIRTH_DATE_DAY_MONTH_EXCHANGED = "birth_date_day_month_exchanged"
    BIRTH_DATE_DIGITS_EXCHANGED = "birth_date_digits_exchanged"
    BIRTH_DATE_ONE_DIGIT = "birth_date_one_digit"
    BIRTH_DATE_TWO_PARTS = "birth_date_two_parts"
    BIRTH_DATE_TWO_DIGITS = "birth_date_two_digits"
    BIRTH_DATE_UNKNOWN = "birth_date_unknown"
    BIRTH_DATE_DIFFERENT = "birth_date_different"
    NAME_EQUAL = "name_equal"
    NAME_IN_OTHER_ORDER = "name_in_other_order"
    PARTS_IN_OTHER_ORDER = "parts_in_other_order"
    GIVEN_NAME_EQUAL = "given_name_equal"
    GIVEN_NAME_MIDDLE_NAME = "given_name_middle_name"
    GIVEN_NAME_ONE_EDIT = "given_name_one_edit"
    GIVEN_NAME_SHORT_FORM = "given_name_short_form"
    GIVEN_NAME_SHARED = "given_name_shared"
    GIVEN_NAME_INITIAL = "given_name_initial"
    GIVEN_NAME_PHONETIC = "given_name_phonetic"
    GIVEN_NAME_CLOSE = "given_name_close"
    GIVEN_NAME_RESEMBLES = "given_name_resembles"
    GIVEN_NAME_MISSING = "given_name_missing"
    GIVEN_NAME_DIFFERENT = "given_name_different"
    FAMILY_NAME_EQUAL = "family_name_equal"
    FAMILY_NAME_ONE_EDIT = "family_name_one_edit"
    FAMILY_NAME_PART_OF_COMPOUND = "family_name_part_of_compound"
    FAMILY_NAME_SHARED = "family_name_shared"
    FAMILY_NAME_PHONETIC = "family_name_phonetic"
    FAMILY_NAME_CLOSE = "family_name_close"
    FAMILY_NAME_RESEMBLES = "family_name_resembles"
    FAMILY_NAME_MISSING = "family_name_missing"
    FAMILY_NAME_DIFFERENT = "family_name_different"
    GENERATION_DIFFERS = "generation_differs"
    BY_FORMER_NAME = "by_former_name"
    BY_PREFERRED_NAME = "by_preferred_name"
    LINK_AGREES = "link_agrees"
    LINK_WAS_SOMEBODY_ELSES = "link_was_somebody_elses"
    # Why it is not matched without a person:
    NOBODY_FITS = "nobody_fits"
    BIRTH_DATE_IMPOSSIBLE = "birth_date_impossible"
    MORE_THAN_ONE_FITS = "more_than_one_fits"
    SIMILAR_NAME_SAME_BIRTH_DATE = "similar_name_same_birth_date"
    NAME_TOO_COMMON = "name_too_common"
    SHORT_NAME_DIFFERS = "short_name_differs"
    SOMEBODY_HAS_THE_TYPED_NAME = "somebody_has_the_typed_name"
    SOMEBODY_SHARES_THE_PART = "somebody_shares_the_part"
    GIVEN_NAME_TOO_COMMON = "given_name_too_common"
    PART_TOO_COMMON = "part_too_common"
    NAMESAKE_OF_A_NEAR_DATE = "namesake_of_a_near_date"
    TOO_MANY_TO_COMPARE = "too_many_to_compare"
    AUTOMATIC_SWITCHED_OFF = "automatic_switched_off"


GIVEN = {
    Alike.EQUAL: Why.GIVEN_NAME_EQUAL,
    Alike.MIDDLE_NAME: Why.GIVEN_NAME_MIDDLE_NAME,
    Alike.ONE_EDIT: Why.GIVEN_NAME_ONE_EDIT,
    Alike.SHORT_FORM: Why.GIVEN_NAME_SHORT_FORM,
    Alike.SHARED: Why.GIVEN_NAME_SHARED,
    Alike.INITIAL: Why.GIVEN_NAME_INITIAL,
    Alike.PHONETIC: Why.GIVEN_NAME_PHONETIC,
    Alike.CLOSE: Why.GIVEN_NAME_CLOSE,
    Alike.RESEMBLES: Why.GIVEN_NAME_RESEMBLES,
    Alike.MISSING: Why.GIVEN_NAME_MISSING,
    Alike.BOTH_MISSING: Why.GIVEN_NAME_MISSING,
    Alike.DIFFERENT: Why.GIVEN_NAME_DIFFERENT,
}
FAMILY = {
    Alike.EQUAL: Why.FAMILY_NAME_EQUAL,
    Alike.ONE_EDIT: Why.FAMILY_NAME_ONE_EDIT,
    Alike.PART: Why.FAMILY_NAME_PART_OF_COMPOUND,
    Alike.SHARED: Why.FAMILY_NAME_SHARED,
    Alike.PHONETIC: Why.FAMILY_NAME_PHONETIC,
    Alike.CLOSE: Why.FAMILY_NAME_CLOSE,
    Alike.RESEMBLES: Why.FAMILY_NAME_RESEMBLES,
    Alike.MISSING: Why.FAMILY_NAME_MISSING,
    Alike.BOTH_MISSING: Why.FAMILY_NAME_MISSING,
    Alike.DIFFERENT: Why.FAMILY_NAME_DIFFERENT,
}
DATES = {
    DateAlike.EQUAL: Why.BIRTH_DATE_EQUAL,
    DateAlike.DAY_MONTH_EXCHANGED: Why.BIRTH_DATE_DAY_MONTH_EXCHANGED,
    DateAlike.DIGITS_EXCHANGED: Why.BIRTH_DATE_DIGITS_EXCHANGED,
    DateAlike.ONE_DIGIT: Why.BIRTH_DATE_ONE_DIGIT,
    DateAlike.TWO_PARTS: Why.BIRTH_DATE_TWO_PARTS,
    DateAlike.TWO_DIGITS: Why.BIRTH_DATE_TWO_DIGITS,
    DateAlike.UNKNOWN: Why.BIRTH_DATE_UNKNOWN,
    DateAlike.BOTH_UNKNOWN: Why.BIRTH_DATE_UNKNOWN,
    DateAlike.DIFFERENT: Why.BIRTH_DATE_DIFFERENT,
}
BY_NAME = {"former": Why.BY_FORMER_NAME, "preferred": Why.BY_PREFERRED_NAME}


def why_alike(names: NameLikeness, dates: DateAlike, name_kind: str) -> tuple[Why, ...]:
    """Return the reasons in the order in which they are read: date, name, which name it was."""
    reasons = [DATES[dates]]
    if names.given == names.family == Alike.EQUAL:
        reasons.append(Why.NAME_IN_OTHER_ORDER if names.moved else Why.NAME_EQUAL)
    else:
        reasons += [GIVEN[names.given], FAMILY[names.family]]
        if names.moved:
            reasons.append(Why.PARTS_IN_OTHER_ORDER)
    if names.generation_differs:
        reasons.append(Why.GENERATION_DIFFERS)
    if name_kind in BY_NAME:
        reasons.append(BY_NAME[name_kind])
    return tuple(reasons)
