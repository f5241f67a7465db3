"""The words of a rehearsal of matching: for the command and for the page."""

import csv
from collections.abc import Iterable, Iterator, Mapping
from io import StringIO

from clinic.words import WHY
from patients.rules.csv_cells import neutralise
from patients.rules.identity import Policy, Verdict
from patients.rules.rehearsal import Answered, Judged, Tally
from patients.rules.rehearsal_files import About, Files, Part, Problem, Wrong
from patients.rules.schedule_reasons import Refusal
from patients.rules.schedule_table import SEPARATORS
from patients.schedule_words import ENCODINGS, REFUSALS

MOST_SHOWN = 20
COLUMNS = ("claim_id", "decision", "patient_id", "candidates", "reasons")
AUTOMATIC, REVIEW, NONE = Verdict
DECISION = {AUTOMATIC: "auto", REVIEW: "review", NONE: "none"}
LONGEST_QUOTED = 60

PROBLEMS: dict[Wrong, tuple[str, str]] = {
    Wrong.COLUMN_MISSING: (
        "this column is needed and was not found. The first line says: {detail}.",
        "Put the name of the column into the first line.",
    ),
    Wrong.COLUMN_TWICE: ("this column stands there twice.", "Remove or rename one of the two."),
    Wrong.NO_PATIENTS: (
        "the file has no patients in it; there is only the header.",
        "Put each patient of the register on a line of its own.",
    ),
    Wrong.NO_CLAIMS: (
        "the file has no claims in it; there is only the header.",
        "Put each claim on a line of its own.",
    ),
    Wrong.TOO_MANY_ROWS: ("there are more than {detail} rows.", "Give fewer rows."),
    Wrong.TOO_FEW_FIELDS: (
        "the row has {detail} fields of the header; from this column on they are missing.",
        "Look for a separator too few, or a line end inside a name.",
    ),
    Wrong.TOO_MANY_FIELDS: (
        "the row has more fields than the header ({detail}).",
        "Look for a separator too many; put a cell that holds one in quotation marks.",
    ),
    Wrong.HAS_NUL: ("the cell holds a character that is not text (NUL).", "Type it anew."),
    Wrong.TOO_LONG: ("the cell is longer than {detail} characters.", "Shorten it."),
    Wrong.ID_MISSING: ("the cell is empty.", "Give each row its own id."),
    Wrong.ID_WITH_SPACE: (
        "the id “{detail}” has a space in it.",
        "Write it without; the decisions list several ids in one cell, with spaces between.",
    ),
    Wrong.ID_TWICE: (
        "“{detail}” stands on line {first_line} already.",
        "Each id may stand there once: remove one of the rows, or correct its id.",
    ),
    Wrong.NOT_ISO: (
        "“{detail}” is not a date in ISO form.",
        "Write year-month-day, like 1980-02-29, or leave the cell empty.",
    ),
    Wrong.NO_SUCH_DAY: (
        "there is no such day: {detail}.",
        "Correct the date on the register, or leave the cell empty.",
    ),
    Wrong.IN_THE_FUTURE: (
        "the date of birth is still to come: {detail}.",
        "Correct the date on the register, or leave the cell empty.",
    ),
    Wrong.TOO_EARLY: (
        "the date of birth is before 1890: {detail}.",
        "Correct the date on the register, or leave the cell empty.",
    ),
    Wrong.CLAIM_UNKNOWN: (
        "there is no claim “{detail}” in the claims file.",
        "Correct the id, or remove the row.",
    ),
    Wrong.PATIENT_UNKNOWN: (
        "there is no patient “{detail}” in the register file.",
        "Correct the id; leave the cell empty if it was nobody on the register.",
    ),
}
SAVE_AS_CSV = "Save it as CSV in the encoding UTF-8."
CLOSE_THE_QUOTES = 'Close it, or write "" for a quotation mark inside a cell.'
NEVER_AUTOMATIC = {
    Policy.PERSONAL_LINK_ONLY: (
        "Under this rule only a personal link can match without a person, and these files have "
        "no links: nothing is matched without a person."
    ),
    Policy.NEVER: "Under this rule nothing is matched without a person.",
}


def problem_words(problem: Problem, names: Mapping[Part, str]) -> str:
    """Return where something is wrong, what it is and how to put it right."""
    place = [printable(names[problem.part])]
    if isinstance(problem.wrong, Refusal):
        if problem.wrong == Refusal.BROKEN_QUOTES:
            place.append(f"line {problem.line}")
        what = REFUSALS[problem.wrong][0].format(limit=problem.detail, line=problem.line)
        broken = problem.wrong == Refusal.BROKEN_QUOTES
        fix = CLOSE_THE_QUOTES if broken else SAVE_AS_CSV
    else:
        place.append(f"line {problem.line}")
        what, fix = PROBLEMS[problem.wrong]
        what = what.format(detail=shown(problem.detail), first_line=problem.first_line)
    if problem.column:
        place.append(f"column {shown(problem.column)}")
    return f"{', '.join(place)}: {what[0].lower()}{what[1:]} {fix}"


def shown(text: str) -> str:
    """Return a text from a file, shortened, and without what a terminal might obey."""
    return printable(text if len(text) <= LONGEST_QUOTED else f"{text[: LONGEST_QUOTED - 1]}…")


def printable(text: str) -> str:
    """Return a text without control characters and other invisible ones."""
    return "".join(char if char.isprintable() else "�" for char in text)


def share(part: int, whole: int) -> str:
    """Return a share with the numbers that it is made of."""
    return f"{percent(part, whole)} ({part:,} of {whole:,})"


def percent(part: int, whole: int) -> str:
    """Return a share in per cent; it is 100 or 0 only where that is exact."""
    if not whole:
        return "no share"
    value = round(100 * part / whole, 2)
    if part not in (0, whole):
        value = min(max(value, 0.01), 99.99)
    return f"{value:g} %"


def read_words(files: Files, names: Mapping[Part, str]) -> list[str]:
    """Return how the files were read, and what of them cannot be matched."""
    said = [_read(about, names) for about in files.about]
    undated = sum(person.birth_date is None for person in files.people)
    if undated:
        said.append(
            f"{counted(undated, 'patient has', 'patients have')} no date of birth: "
            "never matched without a person."
        )
    undated = sum(asked.claim.birth_date is None for asked in files.claims)
    if undated:
        said.append(
            f"{counted(undated, 'claim has', 'claims have')} no date of birth: "
            "never matched without a person."
        )
    return said


def _read(about: About, names: Mapping[Part, str]) -> str:
    rows = counted(about.rows, "row", "rows")
    blank = f", {counted(about.blank_rows, 'blank row', 'blank rows')} passed over"
    return (
        f"{printable(names[about.part])}: {rows}{blank if about.blank_rows else ''}; read as "
        f"{ENCODINGS[about.encoding]}, separated by {SEPARATORS[about.separator]}s."
    )


def tally_words(counts: Tally, asked: str = "claim") -> str:
    """Return what would become of what was asked about; `asked` names one of it."""
    automatic, review, none = (counts.verdicts[v] for v in (AUTOMATIC, REVIEW, NONE))
    whole = counts.claims
    noun, _, which = asked.partition(" ")
    many = f"{noun}s {which}".rstrip()
    return (
        f"Of {counted(whole, asked, many)}, {automatic:,} would be matched without a person "
        f"({percent(automatic, whole)}), {review:,} would go to a person "
        f"({percent(review, whole)}), and {none:,} come near nobody ({percent(none, whole)})."
    )


def judged_words(judged: Judged, claims: int) -> list[str]:
    """Return how well the rule did otherwise, on the claims of which the truth is given."""
    said = rank_words(judged)
    if judged.known < claims:
        said.append(
            f"The truth is not given for {counted(claims - judged.known, 'claim', 'claims')}: "
            "not judged."
        )
    return said


def false_accepts(judged: Judged, *, name_them: bool = True) -> str:
    """Return how many would have been matched to the wrong person without anybody looking."""
    wrong = len(judged.wrong)
    matches = counted(judged.automatic, "automatic match", "automatic matches")
    if not wrong:
        nothing = "" if judged.automatic else ", which says nothing yet"
        return f"False automatic accepts: 0 (of {matches}{nothing})."
    warning = (
        f"False automatic accepts: {wrong:,} (of {matches}). Warning: each would have counted for "
        "the wrong person; do not let anything be matched without a person before you know why."
    )
    if not name_them:
        return warning
    named = ", ".join(shown(claim_id) for claim_id in judged.wrong[:MOST_SHOWN])
    more = f" and {wrong - MOST_SHOWN:,} more" if wrong > MOST_SHOWN else ""
    return f"{warning} Claims: {named}{more}."


def taken_back_words(matches: int) -> str:
    """Return how many matches of the rule did not last, whatever the reason was."""
    made = counted(matches, "match", "matches")
    return f"A person took back {made} that the rule had made by itself"


def anew_words(anew: int, wrong: int) -> str:
    """Return what the rule would make today of those taken back that people decided since."""
    if not anew:
        return ""
    return (
        f"The rule was asked again about {anew:,} of them, which people decided since; it would "
        f"match {wrong:,} of these to the wrong person."
    )


def rank_words(judged: Judged, asked: str = "claims") -> list[str]:
    """Return the shares by which rules are compared; `asked` names what the rule is asked about."""
    patients = f"{asked} of patients on the register"
    return [
        f"Automatic share: {share(judged.automatic, judged.known)} of {asked} with a known truth; "
        f"{share(judged.automatic_of_patients, judged.of_patients)} of {patients}.",
        f"Right patient first: {share(judged.first, judged.of_patients)} of {patients}.",
        f"Right patient in the first three: {share(judged.first_few, judged.of_patients)} of "
        f"{patients}.",
    ]


def doubt_words(counts: Tally) -> list[tuple[str, int]]:
    """Return why claims would go to a person, the most frequent reason first."""
    return [(WHY[why], count) for why, count in counts.doubts.most_common()]


def counted(count: int, one: str, many: str) -> str:
    """Return a number with its noun."""
    return f"{count:,} {one if count == 1 else many}"


def decisions_csv(answers: Iterable[Answered]) -> Iterator[str]:
    """Yield the lines of the decisions file (standards row CSV-1), the header first.

    A cell that a spreadsheet would take for a formula gets an apostrophe in front, which the
    readers here take away again (csv_cells.py). Only an id can be such a cell.
    """
    yield _line(COLUMNS)
    for one in answers:
        yield _line(_cells(one))


def _cells(one: Answered) -> tuple[str, ...]:
    decision = one.decision
    whys = list(decision.reasons)
    if decision.verdict == REVIEW and decision.candidates:
        whys += decision.candidates[0].reasons
    return (
        one.claim_id,
        DECISION[decision.verdict],
        "" if decision.person_id is None else str(decision.person_id),
        " ".join(str(candidate.person_id) for candidate in decision.candidates),
        "; ".join(WHY[why] for why in whys),
    )


def _line(cells: Iterable[str]) -> str:
    text = StringIO(newline="")
    csv.writer(text, lineterminator="\r\n").writerow([neutralise(cell) for cell in cells])
    return text.getvalue()
