"""Read a module from its text file, and say in plain words what is wrong with it.

A module is written as one TOML file: its title, its sections and its questions, each text in every
language that the title has. Everything that is wrong is reported at once, and each problem names
the key it is about, so that whoever wrote the file can put it right without reading this code.
"""

import re
import tomllib
from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from types import MappingProxyType
from typing import Any

from education.rules.scoring import Kind

SOURCE_LANGUAGE = "en"
LANGUAGES = ("en", "es")

_SLUG = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
_MAX_KEY_LENGTH = 60

_MODULE_FIELDS = frozenset({"code", "pass_mark", "title", "section", "question"})
_SECTION_FIELDS = frozenset({"key", "heading", "body"})
_QUESTION_FIELDS = frozenset({"key", "kind", "safety_critical", "section", "stem", "explanation"})
_CHOICE_FIELDS = frozenset({"option"})
_NUMBER_FIELDS = frozenset({"unit", "answer", "tolerance"})
_OPTION_FIELDS = frozenset({"key", "text", "right"})

Words = Mapping[str, str]
"""One text in several languages: language code to text."""


@dataclass(frozen=True)
class OptionText:
    """One option of a question that is answered by choosing."""

    key: str
    text: Words
    right: bool


@dataclass(frozen=True)
class SectionText:
    """One section of the teaching; `body` is Markdown."""

    key: str
    heading: Words
    body: Words


@dataclass(frozen=True)
class QuestionText:
    """One question.

    Choosing kinds have `options`. The kind number has `unit`, `answer` and `tolerance` instead: a
    typed number is right when it is at most `tolerance` away from `answer`, in that unit.
    `section` is the key of the section that explains it.
    """

    key: str
    kind: Kind
    safety_critical: bool
    section: str
    stem: Words
    explanation: Words
    options: tuple[OptionText, ...] = ()
    unit: Words | None = None
    answer: Decimal | None = None
    tolerance: Decimal | None = None


@dataclass(frozen=True)
class ModuleText:
    """A module as written: `pass_mark` is the share of questions right, in per cent."""

    code: str
    pass_mark: int
    title: Words
    sections: tuple[SectionText, ...]
    questions: tuple[QuestionText, ...]


class ModuleTextError(ValueError):
    """The text is not a module. `problems` says why, one plain sentence each."""

    def __init__(self, problems: Collection[str]) -> None:
        super().__init__("\n".join(problems))
        self.problems: tuple[str, ...] = tuple(problems)


def read_module(text: str) -> ModuleText:
    """Read a module from TOML text.

    Raises ModuleTextError with every problem found: a text missing in a language of the title, a
    question with no right option, a pointer to an unknown section, a field that means nothing here.
    """
    try:
        record = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise ModuleTextError([f"The file is not valid TOML: {error}."]) from error
    reader = _Reader()
    module = reader.module(record)
    if reader.problems:
        raise ModuleTextError(reader.problems)
    return module


def languages_complete(module: ModuleText) -> tuple[str, ...]:
    """The languages in which every text of the module is there, the title's language order kept."""
    texts = _texts(module)
    return tuple(
        language
        for language in module.title
        if all(words.get(language, "").strip() for words in texts)
    )


def _texts(module: ModuleText) -> list[Words]:
    texts = [module.title]
    for section in module.sections:
        texts += [section.heading, section.body]
    for question in module.questions:
        texts += [question.stem, question.explanation]
        texts += [option.text for option in question.options]
        if question.unit is not None:
            texts.append(question.unit)
    return texts


class _Reader:
    """Walks the parsed file once, building values and collecting problems as it goes.

    A value that cannot be read is replaced by an empty one of its type, so that one mistake does
    not hide the next; `read_module` throws the result away when there is any problem.
    """

    def __init__(self) -> None:
        self.problems: list[str] = []
        self.languages: tuple[str, ...] = ()

    def module(self, record: dict[str, Any]) -> ModuleText:
        where = "The module"
        self.languages = self._title_languages(record.get("title"))
        self._check_fields(record, _MODULE_FIELDS, where)
        sections = tuple(
            self._section(entry, number)
            for number, entry in enumerate(self._tables(record, "section", where), start=1)
        )
        self._check_unique([section.key for section in sections], "sections", where)
        section_keys = {section.key for section in sections}
        questions = tuple(
            self._question(entry, number, section_keys)
            for number, entry in enumerate(self._tables(record, "question", where), start=1)
        )
        self._check_unique([question.key for question in questions], "questions", where)
        return ModuleText(
            code=self._slug(record, "code", where),
            pass_mark=self._pass_mark(record, where),
            title=self._words(record, "title", where),
            sections=sections,
            questions=questions,
        )

    def _section(self, record: dict[str, Any], number: int) -> SectionText:
        where = _name("Section", record, number)
        self._check_fields(record, _SECTION_FIELDS, where)
        return SectionText(
            key=self._slug(record, "key", where),
            heading=self._words(record, "heading", where),
            body=self._words(record, "body", where),
        )

    def _question(
        self, record: dict[str, Any], number: int, section_keys: Collection[str]
    ) -> QuestionText:
        where = _name("Question", record, number)
        kind = self._kind(record, where)
        is_number = kind is Kind.NUMBER
        # With an unknown kind nobody can say which fields belong: report the kind alone.
        own_fields = _NUMBER_FIELDS if is_number else _CHOICE_FIELDS
        allowed = _CHOICE_FIELDS | _NUMBER_FIELDS if kind is None else own_fields
        self._check_fields(record, _QUESTION_FIELDS | allowed, where)
        section = self._string(record, "section", where)
        if section and section not in section_keys:
            self.problems.append(f'{where}: "section" points to "{section}", which is no section.')
        return QuestionText(
            key=self._slug(record, "key", where),
            kind=kind or Kind.ONE,
            safety_critical=self._yes_or_no(record, "safety_critical", where),
            section=section,
            stem=self._words(record, "stem", where),
            explanation=self._words(record, "explanation", where),
            options=() if is_number or kind is None else self._options(record, kind, where),
            unit=self._words(record, "unit", where) if is_number else None,
            answer=self._decimal(record, "answer", where) if is_number else None,
            tolerance=self._tolerance(record, where) if is_number else None,
        )

    def _options(self, record: dict[str, Any], kind: Kind, where: str) -> tuple[OptionText, ...]:
        options = tuple(
            self._option(entry, number, where)
            for number, entry in enumerate(self._tables(record, "option", where), start=1)
        )
        keys = [option.key for option in options]
        self._check_unique(keys, "options", where)
        right = sum(option.right for option in options)
        if options and not right:
            self.problems.append(f"{where}: no option is right.")
        if kind is not Kind.SEVERAL and right > 1:
            self.problems.append(f'{where}: {right} options are right; kind "{kind}" takes one.')
        if kind is Kind.TRUE_FALSE and sorted(keys) != ["false", "true"]:
            self.problems.append(
                f'{where}: kind "true_false" takes two options, with the keys "true" and "false".'
            )
        elif len(options) == 1:
            self.problems.append(f"{where}: one option leaves nothing to choose; give at least 2.")
        return options

    def _option(self, record: dict[str, Any], number: int, question: str) -> OptionText:
        where = f"{question}, {_name('option', record, number)}"
        self._check_fields(record, _OPTION_FIELDS, where)
        return OptionText(
            key=self._slug(record, "key", where),
            text=self._words(record, "text", where),
            right=self._yes_or_no(record, "right", where),
        )

    def _title_languages(self, title: object) -> tuple[str, ...]:
        """The title decides the languages of the module; without one, its source language."""
        if not isinstance(title, dict):
            return (SOURCE_LANGUAGE,)
        known = tuple(language for language in title if language in LANGUAGES)
        return known if SOURCE_LANGUAGE in known else (SOURCE_LANGUAGE, *known)

    def _words(self, record: dict[str, Any], field: str, where: str) -> Words:
        table = record.get(field)
        if not isinstance(table, dict):
            self.problems.append(
                f'{where}: "{field}" is missing; give it as one text for each language '
                f"({', '.join(self.languages)})."
            )
            return MappingProxyType({})
        for language in self.languages:
            if language not in table:
                self.problems.append(f'{where}: "{field}" has no text in "{language}".')
        for language, text in table.items():
            if language not in LANGUAGES:
                self.problems.append(
                    f'{where}: "{field}" has the unknown language "{language}"; '
                    f"known are {', '.join(LANGUAGES)}."
                )
            elif language not in self.languages:
                self.problems.append(
                    f'{where}: "{field}" has a text in "{language}", but the title has none.'
                )
            if not isinstance(text, str) or not text.strip():
                self.problems.append(f'{where}: "{field}" in "{language}" is empty or no text.')
        return MappingProxyType({k: v.strip() for k, v in table.items() if isinstance(v, str)})

    def _string(self, record: dict[str, Any], field: str, where: str) -> str:
        value = record.get(field)
        if isinstance(value, str) and value.strip():
            return value
        self.problems.append(f'{where}: "{field}" is missing or is no text.')
        return ""

    def _slug(self, record: dict[str, Any], field: str, where: str) -> str:
        value = self._string(record, field, where)
        if value and (len(value) > _MAX_KEY_LENGTH or not _SLUG.fullmatch(value)):
            self.problems.append(
                f'{where}: "{field}" takes small letters, digits and single hyphens, '
                f"at most {_MAX_KEY_LENGTH} of them."
            )
        return value

    def _kind(self, record: dict[str, Any], where: str) -> Kind | None:
        value = self._string(record, "kind", where)
        if value in list(Kind):
            return Kind(value)
        if value:
            known = ", ".join(Kind)
            self.problems.append(f'{where}: unknown kind "{value}"; known are {known}.')
        return None

    def _yes_or_no(self, record: dict[str, Any], field: str, where: str) -> bool:
        value = record.get(field)
        if isinstance(value, bool):
            return value
        self.problems.append(f'{where}: "{field}" must be true or false.')
        return False

    def _pass_mark(self, record: dict[str, Any], where: str) -> int:
        value = record.get("pass_mark")
        # bool is an int in Python, and "pass_mark = true" is a slip, not a mark of 1.
        if isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= 100:
            return value
        self.problems.append(f'{where}: "pass_mark" must be a whole number from 1 to 100.')
        return 0

    def _decimal(self, record: dict[str, Any], field: str, where: str) -> Decimal:
        value = record.get(field)
        try:
            number = Decimal(value) if isinstance(value, str) else Decimal("NaN")
        except InvalidOperation:
            number = Decimal("NaN")
        if number.is_finite():
            return number
        self.problems.append(f'{where}: "{field}" must be a number in quotes, such as "64".')
        return Decimal(0)

    def _tolerance(self, record: dict[str, Any], where: str) -> Decimal:
        tolerance = self._decimal(record, "tolerance", where)
        if tolerance < 0:
            self.problems.append(f'{where}: "tolerance" must not be negative.')
        return tolerance

    def _tables(self, record: dict[str, Any], field: str, where: str) -> list[dict[str, Any]]:
        value = record.get(field)
        if isinstance(value, list) and value and all(isinstance(entry, dict) for entry in value):
            return value
        self.problems.append(f'{where}: there is no "[[{field}]]".')
        return []

    def _check_fields(self, record: dict[str, Any], allowed: Collection[str], where: str) -> None:
        for field in record:
            if field not in allowed:
                self.problems.append(f'{where}: unknown field "{field}".')

    def _check_unique(self, keys: list[str], what: str, where: str) -> None:
        for key, count in Counter(keys).items():
            if key and count > 1:
                self.problems.append(f'{where}: {count} {what} have the key "{key}".')


def _name(what: str, record: dict[str, Any], number: int) -> str:
    """What to call an entry in a problem: its key, or its place when it has none."""
    key = record.get("key")
    return f'{what} "{key}"' if isinstance(key, str) and key else f"{what} {number}"
