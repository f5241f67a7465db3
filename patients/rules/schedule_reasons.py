"""What can be wrong with a schedule, a row of it, or worth saying about one: the typed reasons.

The words that people read for each stand in patients/schedule_words.py.
"""

from dataclasses import dataclass
from enum import StrEnum


class Refusal(StrEnum):
    """Why a whole file is not read."""

    EMPTY = "empty"
    TOO_MANY_BYTES = "too_many_bytes"
    WORKBOOK = "workbook"
    ARCHIVE = "archive"
    PDF = "pdf"
    PICTURE = "picture"
    PROGRAM = "program"
    MARKUP = "markup"
    MESSAGE = "message"
    NOT_TEXT = "not_text"
    BROKEN_QUOTES = "broken_quotes"
    TOO_MANY_ROWS = "too_many_rows"
    TOO_MANY_COLUMNS = "too_many_columns"
    CELL_TOO_LONG = "cell_too_long"
    COLUMNS_MISSING = "columns_missing"
    COLUMN_TWICE = "column_twice"


# What somebody can put right by saying which column is which.
TO_BE_CHOSEN = frozenset({Refusal.COLUMNS_MISSING, Refusal.COLUMN_TWICE})


class Reason(StrEnum):
    """Why a row is rejected."""

    WRONG_FIELD_COUNT = "wrong_field_count"
    MISSING = "missing"
    TOO_LONG = "too_long"
    HAS_NUL = "has_nul"
    LINE_BREAK = "line_break"
    CONTROL_CHARACTER = "control_character"
    HIDDEN_DIRECTION = "hidden_direction"
    DAMAGED_LETTERS = "damaged_letters"
    DAMAGED_NUMBER = "damaged_number"
    NAME_NOT_PARTED = "name_not_parted"
    DATE_UNREADABLE = "date_unreadable"
    DATE_PARTIAL = "date_partial"
    NO_SUCH_DAY = "no_such_day"
    WRONG_WEEKDAY = "wrong_weekday"
    TWO_DIGIT_YEAR = "two_digit_year"
    IMPOSSIBLE_YEAR = "impossible_year"
    ZONED_TIME = "zoned_time"
    DATE_AMBIGUOUS = "date_ambiguous"
    AGAINST_DATE_ORDER = "against_date_order"
    BORN_IN_FUTURE = "born_in_future"
    EMAIL_UNREADABLE = "email_unreadable"
    STATUS_UNKNOWN = "status_unknown"
    PROCEDURE_UNKNOWN = "procedure_unknown"
    PROCEDURE_NOT_OURS = "procedure_not_ours"
    PROCEDURE_CONTRADICTS = "procedure_contradicts"
    MRN_OF_SOMEBODY_ELSE = "mrn_of_somebody_else"
    MRN_TWICE = "mrn_twice"
    CONTRADICTS_LINE = "contradicts_line"
    OPERATION_TWICE = "operation_twice"
    SEVERAL_PATIENTS = "several_patients"
    CASE_OF_SOMEBODY_ELSE = "case_of_somebody_else"
    SEVERAL_OPERATIONS_FIT = "several_operations_fit"
    DONE_IN_FUTURE = "done_in_future"
    DONE_WITHOUT_DATE = "done_without_date"
    DONE_HERE = "done_here"
    CANCELLED_HERE = "cancelled_here"


class Notice(StrEnum):
    """What is worth saying about a row that is not rejected."""

    NAME_RECASED = "name_recased"
    NAME_CHANGED = "name_changed"
    MERGED = "merged"
    RECORD_IS_NEWER = "record_is_newer"
    POSSIBLE_DUPLICATE = "possible_duplicate"
    LANGUAGE_NOT_OFFERED = "language_not_offered"
    DATE_PASSED = "date_passed"
    CONFIRMATION_LOST = "confirmation_lost"
    STAYS_ON_HOLD = "stays_on_hold"
    STAYS_CANCELLED = "stays_cancelled"
    STAYS_DONE = "stays_done"
    REVIVED = "revived"
    ANOTHER_OPEN_OPERATION = "another_open_operation"


class NotASchedule(Exception):
    """The whole file is refused; `detail` fills the sentence of the reason."""

    def __init__(self, refusal: Refusal, **detail: str | int) -> None:
        super().__init__(refusal.value)
        self.refusal = refusal
        self.detail = detail


@dataclass(frozen=True)
class Problem:
    """One reason for rejecting a row: the column as the file writes it, and what else to say."""

    reason: Reason
    column: str = ""
    detail: str = ""


@dataclass(frozen=True)
class Said:
    """One notice about a row, and what else to say."""

    notice: Notice
    detail: str = ""
