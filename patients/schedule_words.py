"""The words for everything that can be said about a schedule: what it is, and what to do."""

from collections.abc import Mapping
from datetime import date

from patients.rules.languages import name_of
from patients.rules.schedule_changes import Proposal, Verdict
from patients.rules.schedule_dates import Order
from patients.rules.schedule_reasons import (
    NotASchedule,
    Notice,
    Problem,
    Reason,
    Refusal,
    Said,
)
from patients.rules.schedule_table import SEPARATORS, Table

Words = tuple[str, str]

SAVE_AS_CSV = "Open it in the program that made it and save it as CSV."

REFUSALS: dict[Refusal, Words] = {
    Refusal.EMPTY: ("The file is empty.", "Export the schedule again."),
    Refusal.TOO_MANY_BYTES: (
        "The file is larger than {limit} MB.",
        "Export fewer weeks at a time.",
    ),
    Refusal.WORKBOOK: ("This is a spreadsheet workbook, not a CSV file.", SAVE_AS_CSV),
    Refusal.ARCHIVE: ("This is a packed archive (zip), not a CSV file.", "Unpack it first."),
    Refusal.PDF: (
        "This is a PDF, not a CSV file.",
        "Export the schedule as CSV from the scheduling system.",
    ),
    Refusal.PICTURE: (
        "This is a picture, not a CSV file.",
        "Export the schedule as CSV from the scheduling system.",
    ),
    Refusal.PROGRAM: (
        "This is a program, not a CSV file.",
        "Do not open it. Export the schedule as CSV from the scheduling system.",
    ),
    Refusal.MARKUP: ("This is a document or web page, not a CSV file.", SAVE_AS_CSV),
    Refusal.MESSAGE: (
        "This is a message between systems, not a CSV file.",
        "Export the schedule as CSV from the scheduling system.",
    ),
    Refusal.NOT_TEXT: (
        "The file cannot be read as text.",
        "Save it as CSV in the encoding UTF-8.",
    ),
    Refusal.BROKEN_QUOTES: (
        "In the row that begins on line {line} a quotation mark stands alone, so nobody can tell "
        "where the row ends.",
        'Close it, or write "" for a quotation mark inside a cell.',
    ),
    Refusal.TOO_MANY_ROWS: (
        "The file has more than {limit:,} rows.",
        "Export fewer weeks at a time.",
    ),
    Refusal.TOO_MANY_COLUMNS: (
        "Line {line} has more than {limit} columns.",
        "Leave out the columns that are not needed.",
    ),
    Refusal.CELL_TOO_LONG: (
        "A cell in the row that begins on line {line} is longer than {limit:,} characters.",
        "Shorten it; if it goes over many lines, a quotation mark is missing.",
    ),
    Refusal.COLUMNS_MISSING: (
        "These columns are needed and were not found: {missing}. Line {line} was read as the "
        "header, and it says: {found}.",
        "Put a line with the names of the columns above the first row.",
    ),
    Refusal.COLUMN_TWICE: (
        "The header has the column “{column}” twice.",
        "Remove or rename one of the two.",
    ),
}

PROBLEMS: dict[Reason, Words] = {
    Reason.WRONG_FIELD_COUNT: (
        "The row has another number of fields than the header ({detail}).",
        "Look for a separator too many or too few; put a cell that holds one in quotation marks.",
    ),
    Reason.MISSING: ("The cell is empty.", "Fill it in."),
    Reason.TOO_LONG: ("The cell is longer than {detail} characters.", "Shorten it."),
    Reason.HAS_NUL: ("The cell holds a character that is not text (NUL).", "Type it anew."),
    Reason.LINE_BREAK: ("The cell holds a line break.", "Write it on one line."),
    Reason.CONTROL_CHARACTER: (
        "The cell holds an invisible control character.",
        "Type it anew.",
    ),
    Reason.HIDDEN_DIRECTION: (
        "The cell holds an invisible mark that turns the reading direction.",
        "Type it anew.",
    ),
    Reason.DAMAGED_LETTERS: (
        "Letters were lost on the way (�).",
        "Export the schedule again in the encoding UTF-8.",
    ),
    Reason.DAMAGED_NUMBER: (
        "A spreadsheet has shortened the number to {detail}.",
        "Write the whole number, with the cell formatted as text.",
    ),
    Reason.NAME_NOT_PARTED: (
        "It cannot be told which is the last name.",
        "Write LAST, FIRST with one comma.",
    ),
    Reason.DATE_UNREADABLE: ("“{detail}” is not a date.", "Write it as 2027-03-25."),
    Reason.DATE_PARTIAL: (
        "Only the year or the month is given: {detail}.",
        "Give the whole date.",
    ),
    Reason.NO_SUCH_DAY: ("There is no such day: {detail}.", "Correct the day or the month."),
    Reason.WRONG_WEEKDAY: (
        "The weekday and the date do not agree: {detail}.",
        "Find out which is right.",
    ),
    Reason.TWO_DIGIT_YEAR: (
        "The year has only two digits: {detail}.",
        "Write the year with four digits.",
    ),
    Reason.IMPOSSIBLE_YEAR: ("The year cannot be right: {detail}.", "Correct the year."),
    Reason.ZONED_TIME: (
        "The date comes with a time zone, so the day depends on the place: {detail}.",
        "Export the date alone.",
    ),
    Reason.DATE_AMBIGUOUS: (
        "{detail} can mean two days.",
        "Choose for this file whether the day or the month comes first.",
    ),
    Reason.AGAINST_DATE_ORDER: (
        "{detail} cannot be read in the order that was chosen for this file.",
        "Choose the other order, or write this date as 2027-03-25.",
    ),
    Reason.BORN_IN_FUTURE: ("The date of birth is still to come: {detail}.", "Correct it."),
    Reason.EMAIL_UNREADABLE: (
        "“{detail}” is not an email address.",
        "Correct it, or leave the cell empty.",
    ),
    Reason.STATUS_UNKNOWN: (
        "The status “{detail}” is not known.",
        "Write scheduled, hold, done or cancelled.",
    ),
    Reason.PROCEDURE_UNKNOWN: (
        "The procedure “{detail}” is not known.",
        "Add it to the procedures, or correct the name. Known are: {procedures}.",
    ),
    Reason.PROCEDURE_NOT_OURS: (
        "“{detail}” is not one of our procedures.",
        "Nothing to do. If it is one of ours, change what the word means.",
    ),
    Reason.PROCEDURE_CONTRADICTS: (
        "Name and code mean two procedures: {detail}.",
        "Correct one of them.",
    ),
    Reason.MRN_OF_SOMEBODY_ELSE: (
        "The record number {detail} belongs to someone else: the name or date of birth on record "
        "is another.",
        "Check the number. If it is right, correct the patient's record first.",
    ),
    Reason.MRN_TWICE: (
        "The same record number stands for somebody else on line {detail}.",
        "Check both numbers; neither row was taken.",
    ),
    Reason.CONTRADICTS_LINE: (
        "Line {detail} says something else about the same patient.",
        "Make the two rows say the same.",
    ),
    Reason.OPERATION_TWICE: (
        "The same operation stands, with other facts, on line {detail}.",
        "Keep the row that is right; give each of two operations its case number.",
    ),
    Reason.SEVERAL_PATIENTS: (
        "More than one patient is named for one operation.",
        "Send one message for each patient.",
    ),
    Reason.CASE_OF_SOMEBODY_ELSE: (
        "The case number {detail} belongs to another patient's operation.",
        "Check the case number and the MRN.",
    ),
    Reason.SEVERAL_OPERATIONS_FIT: (
        "The patient has {detail} operations that this row could mean.",
        "Give the case number.",
    ),
    Reason.DONE_IN_FUTURE: (
        "The operation is said to be done, on a day that is still to come.",
        "Correct the date or the status.",
    ),
    Reason.DONE_WITHOUT_DATE: (
        "The operation is said to be done, without a date.",
        "Give its date.",
    ),
    Reason.DONE_HERE: (
        "The operation was recorded here as done; this row says something else.",
        "If it is a new operation, give it its own case number.",
    ),
    Reason.CANCELLED_HERE: (
        "The operation was cancelled here; this row says something else.",
        "If it is on again, revive it on the operation's page first.",
    ),
}

NOTICES: dict[Notice, str] = {
    Notice.NAME_RECASED: "The name is written all in one case; it is stored as {detail}.",
    Notice.NAME_CHANGED: (
        "The family name is a wholly new one; the earlier name is kept as a former name."
    ),
    Notice.MERGED: (
        "This record was merged into MRN {detail}: the operation is that patient's. Name, email, "
        "phone and language are not taken from this row."
    ),
    Notice.RECORD_IS_NEWER: (
        "Name, email, phone and language are not taken: the patient's record was changed after "
        "this was sent."
    ),
    Notice.POSSIBLE_DUPLICATE: (
        "Possible duplicate of {detail}: the same name and date of birth under another MRN."
    ),
    Notice.LANGUAGE_NOT_OFFERED: (
        "There are no materials in {detail}. A new patient is entered with English."
    ),
    Notice.DATE_PASSED: (
        "The OR date has passed and the operation is open: say on its page what happened."
    ),
    Notice.CONFIRMATION_LOST: "The OR date was confirmed here; that confirmation ends.",
    Notice.STAYS_ON_HOLD: "It was put on hold here, and stays so until somebody lifts it here.",
    Notice.STAYS_CANCELLED: "It was cancelled here, and stays so.",
    Notice.STAYS_DONE: "It was recorded here as done, and stays so.",
    Notice.REVIVED: "It is on again.",
    Notice.ANOTHER_OPEN_OPERATION: "The patient has another open operation of this kind.",
}

FIELDS = {
    "given_names": "given names",
    "family_names": "family names",
    "email": "email",
    "phone": "phone",
    "language": "language",
    "or_date": "OR date",
    "booking": "booking",
    "surgeon": "surgeon",
    "facility": "facility",
    "procedure": "procedure",
}
VALUES = {
    "on_hold": "on hold",
}
ENCODINGS = {
    "utf-8": "UTF-8",
    "utf-16": "UTF-16",
    "cp1252": "Windows-1252, because it is not UTF-8: look at the accents",
}
LONGEST_QUOTED = 60


def refusal_words(refused: NotASchedule) -> Words:
    """Return why a file is not read, and what to do."""
    what, fix = REFUSALS[refused.refusal]
    return what.format(**refused.detail), fix


def problem_words(problem: Problem, procedures: Mapping[int, str]) -> Words:
    """Return why a row is rejected, and what to do. `procedures` are the known ones' names."""
    what, fix = PROBLEMS[problem.reason]
    known = "; ".join(procedures.values()) or "none yet"
    return what.format(detail=_short(problem.detail)), fix.format(procedures=known)


def notice_words(said: Said) -> str:
    """Return what is worth saying about a row."""
    return NOTICES[said.notice].format(detail=_short(said.detail))


def change_words(proposal: Proposal, procedures: Mapping[int, str]) -> list[str]:
    """Return what a row would write, each fact in words; the move of a date comes first."""
    said = []
    if proposal.patient is None and proposal.verdict == Verdict.CREATED:
        said.append("new patient")
    if proposal.operation is None and proposal.procedure_id is not None:
        planned = f"new operation: {procedures[proposal.procedure_id]}"
        said.append(f"{planned}, OR date {value_words('or_date', proposal.or_date)}")
    for change in (*proposal.operation_changes, *proposal.patient_changes):
        old, new = (value_words(change.field, value) for value in (change.old, change.new))
        said.append(f"{FIELDS[change.field]} {old} → {new}")
    return said


def value_words(field: str, value: str | date | None) -> str:
    """Return how a fact of a change is shown; a date with its month's name."""
    if isinstance(value, date):
        return f"{value.day} {value:%B %Y}"
    if not value:
        return "none" if field == "or_date" else "nothing"
    if field == "language":
        return name_of(value)
    return VALUES.get(value, value) if field == "booking" else _short(value)


def _short(text: str) -> str:
    return text if len(text) <= LONGEST_QUOTED else f"{text[: LONGEST_QUOTED - 1]}…"


def about_file(table: Table, encoding: str) -> list[str]:
    """Return how a file was read, in sentences."""
    said = [f"Read as {ENCODINGS[encoding]}, separated by {SEPARATORS[table.separator]}s."]
    if table.blank_rows:
        rows = "blank row was" if table.blank_rows == 1 else "blank rows were"
        said.append(f"{table.blank_rows} {rows} passed over.")
    if not table.has_header:
        said.append("The file has no line with the names of the columns: they are numbered.")
    if table.lines_above:
        what = "header stands" if table.has_header else "first row stands"
        said.append(f"The {what} on line {table.lines_above + 1}; above it nothing is read.")
    if table.unused:
        said.append(f"Columns that are not used: {', '.join(map(_short, table.unused))}.")
    return said


def date_order_words(orders: Mapping[Order, int]) -> str:
    """Return why a person must say which comes first, and what the file itself gives away."""
    either, day, month = (
        orders.get(order, 0) for order in (Order.EITHER, Order.DAY_FIRST, Order.MONTH_FIRST)
    )
    return (
        f"{either} {'date' if either == 1 else 'dates'} can mean two days, like 03/04/2027. Of "
        f"the other dates in numbers, {day} can only be read with the day first and {month} only "
        "with the month first."
    )
