"""Quizzes as sheets of paper: one PDF for one or many, each beginning on a leaf of its own."""

from collections.abc import Iterable
from pathlib import Path

from django.utils import translation

from clinic.typeset import Data, typeset
from education.models import Attempt, QuizCode
from education.other_ways import attempt_of
from education.rules.quiz_code import spelled
from education.sheet_texts import sheet
from education.shown import questions
from patients.clock import local_date
from patients.models import Programme

TEMPLATE = Path(__file__).with_name("quiz_sheet.typ")


def write(
    codes: Iterable[QuizCode], *, programme: Programme, ignore_system_fonts: bool = False
) -> bytes:
    """Return the document; each sheet in its own language, its questions as its attempt drew them.

    Printed again it says the same.
    """
    sheets = [_content(code, attempt_of(code.invitation), programme) for code in codes]
    data: Data = {"sheets": sheets}
    return typeset(TEMPLATE, "print", lambda _: data, ignore_system_fonts=ignore_system_fonts)


def _content(code: QuizCode, attempt: Attempt, programme: Programme) -> Data:
    with translation.override(code.language):
        said = sheet(
            title=attempt.edition.title[code.language],
            questions=questions(attempt, code.language),
            programme=programme,
            good_until=local_date(code.invitation.expires_at, programme.zone),
        )
    return {**said, "lang": code.language, "code": spelled(code.code)}
