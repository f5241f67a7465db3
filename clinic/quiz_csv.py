"""Write a quiz's figures as CSV: a row for each thing that was given to each question.

Form: RFC 4180, UTF-8 with a byte order mark; no cell runs as a formula (patients.rules.csv_cells).
Shares and correlations have four decimals; while there are too few quizzes their cells are empty.
"""

import csv
from collections.abc import Iterator
from io import StringIO

from clinic import quiz_words
from education.quiz_measured import Measured, MeasuredQuestion, MeasuredVersion
from education.rules.item_statistics import Choice, Interval
from education.rules.module_parts import in_language
from education.rules.module_text import SOURCE_LANGUAGE
from patients.rules.csv_cells import neutralise

HEADINGS = (
    "question",
    "key",
    "version",
    "stem",
    "kind",
    "safety_critical",
    "answered",
    "right",
    "share_right",
    "share_right_low",
    "share_right_high",
    "discrimination",
    "discrimination_low",
    "discrimination_high",
    "findings",
    "given",
    "given_is_right",
    "given_by",
    "share_of_upper_third",
    "share_of_lower_third",
)


def write(result: Measured, *, language: str) -> bytes:
    """Return the file."""
    text = StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(HEADINGS)
    for row in _rows(result, language or SOURCE_LANGUAGE):
        writer.writerow([neutralise(cell) for cell in row])
    return b"\xef\xbb\xbf" + text.getvalue().encode()


def _rows(result: Measured, language: str) -> Iterator[list[str]]:
    for question in result.questions:
        for version in question.versions:
            begin = _figures(question, version, language)
            right = {one.name for one in version.offered if one.right}
            for choice in version.figures.choices:
                yield [*begin, *_given(version, choice, right, language)]
            if version.no_answer or not version.figures.choices:
                yield [*begin, "", "no", str(version.no_answer), "", ""]


def _figures(question: MeasuredQuestion, version: MeasuredVersion, language: str) -> list[str]:
    figures, asked = version.figures, version.question
    enough = version.enough
    return [
        quiz_words.label(question, version),
        asked.key,
        str(asked.version),
        in_language(asked.stem, language),
        asked.kind,
        "yes" if asked.safety_critical else "no",
        str(figures.answered),
        str(figures.right),
        _number(figures.difficulty if enough else None),
        *_ends(figures.difficulty_within if enough else None),
        _number(figures.discrimination if enough else None),
        *_ends(figures.discrimination_within if enough else None),
        " ".join([*version.findings, *question.findings]),
    ]


def _given(version: MeasuredVersion, choice: Choice, right: set[str], language: str) -> list[str]:
    return [
        quiz_words.choice_words(version.question, choice.name, language),
        "yes" if choice.name in right else "no",
        str(choice.count),
        _number(choice.upper if version.enough else None),
        _number(choice.lower if version.enough else None),
    ]


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.4f}"


def _ends(within: Interval | None) -> tuple[str, str]:
    return ("", "") if within is None else (f"{within.low:.4f}", f"{within.high:.4f}")
