"""Read a module from its text file, and say in plain words what is wrong with it.

A module is written as one TOML file: its title, its sections and its questions, each text in every
language that the title has. Everything that is wrong is reported at once, and each problem names
the key it is about, so that whoever wrote the file can put it right without reading this code.
"""

import tomllib
from collections.abc import Collection
from decimal import Decimal

from education.rules.module_parts import (
    ModuleText,
    OptionText,
    QuestionText,
    SectionText,
    Words,
    languages_complete,
)
from education.rules.question_text import read_question
from education.rules.section_text import read_section
from education.rules.toml_fields import FieldProblem, Fields, Record, Where, languages_of
from patients.rules.languages import SOURCE_LANGUAGE

__all__ = [
    "SOURCE_LANGUAGE",
    "ModuleText",
    "ModuleTextError",
    "OptionText",
    "QuestionText",
    "SectionText",
    "Words",
    "languages_complete",
    "pass_mark_problem",
    "read_module",
    "read_record",
]

_MODULE_FIELDS = frozenset({"code", "pass_mark", "title", "section", "question"})


class ModuleTextError(ValueError):
    """The text is not a module. `problems` says why, one plain sentence each; `fields` says it of
    the fields of an editor.
    """

    def __init__(self, problems: Collection[str], fields: Collection[FieldProblem] = ()) -> None:
        super().__init__("\n".join(problems))
        self.problems: tuple[str, ...] = tuple(problems)
        self.fields: tuple[FieldProblem, ...] = tuple(fields)


def read_module(text: str) -> ModuleText:
    """Read a module from TOML text.

    Raises ModuleTextError with every problem found: a text missing in a language of the title, a
    question with no right option, a pointer to an unknown section, a field that means nothing here.
    """
    try:
        record = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise ModuleTextError([f"The file is not valid TOML: {error}."]) from error
    return read_record(record)


def read_record(record: Record) -> ModuleText:
    """Read a module from what its file says, as a record of tables, lists and texts.

    Raises ModuleTextError with every problem found.
    """
    fields = Fields(languages_of(record.get("title")))
    module = _module(fields, record)
    if fields.problems:
        raise ModuleTextError([str(problem) for problem in fields.problems], fields.problems)
    return module


def pass_mark_problem(mark: int) -> str:
    """Return what is wrong with a pass mark in per cent, "" if nothing is."""
    if mark > 100:
        return f'"pass_mark" is {mark}: nobody can get more than 100 per cent right.'
    return "" if mark >= 1 else '"pass_mark" must be a whole number from 1 to 100.'


def _module(fields: Fields, record: Record) -> ModuleText:
    where = Where("The module")
    fields.check_known(record, _MODULE_FIELDS, where)
    sections = tuple(
        read_section(fields, entry, number)
        for number, entry in enumerate(fields.tables(record, "section", where), start=1)
    )
    keys = [section.key for section in sections]
    fields.check_unique(keys, "sections", where)
    questions = tuple(
        read_question(fields, entry, number, keys)
        for number, entry in enumerate(fields.tables(record, "question", where), start=1)
    )
    fields.check_unique([question.key for question in questions], "questions", where)
    mark = fields.whole_number(record, "pass_mark", where)
    problem = pass_mark_problem(mark) if mark is not None else ""
    if problem:
        fields.add(where, "pass_mark", problem)
    return ModuleText(
        code=fields.slug(record, "code", where),
        pass_mark=mark or 0,
        title=fields.words(record, "title", where),
        sections=sections,
        questions=questions,
    )
