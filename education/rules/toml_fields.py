"""Read the fields of a module's file, and collect what is wrong with them.

A value that cannot be read is replaced by an empty one of its type, so that one mistake does not
hide the next; who reads throws the result away when there is any problem.
"""

import re
from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from types import MappingProxyType
from typing import Any

from education.rules.module_parts import Words
from patients.rules.languages import SOURCE_LANGUAGE, codes

MAX_KEY_LENGTH = 60

_SLUG = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")

Record = dict[str, Any]


class Where(str):
    """The name of an entry in a problem; `path` begins its fields' names on an editor's page."""

    path: str

    def __new__(cls, name: str, path: str = "") -> "Where":
        made = super().__new__(cls, name)
        made.path = path
        return made


@dataclass(frozen=True)
class FieldProblem:
    """What is wrong: `where` names the entry, `field` the field on an editor's page."""

    where: Where
    field: str
    message: str

    def __str__(self) -> str:
        return f"{self.where}: {self.message}"


def is_slug(text: str) -> bool:
    """Return whether a text can be a key: it may stand in an address."""
    return len(text) <= MAX_KEY_LENGTH and bool(_SLUG.fullmatch(text))


def languages_of(title: object) -> tuple[str, ...]:
    """The title decides the languages of a module; without one, its source language."""
    if not isinstance(title, dict):
        return (SOURCE_LANGUAGE,)
    known = tuple(language for language in title if language in codes())
    return known if SOURCE_LANGUAGE in known else (SOURCE_LANGUAGE, *known)


def name(what: str, record: Record, number: int) -> Where:
    """What to call an entry in a problem: its key, or its place when it has none."""
    key = record.get("key")
    return Where(f'{what} "{key}"' if isinstance(key, str) and key else f"{what} {number}")


class Fields:
    """Reads fields of one type each; `where` names the entry in a problem."""

    def __init__(self, languages: tuple[str, ...]) -> None:
        self.languages = languages
        self.problems: list[FieldProblem] = []

    def add(self, where: Where, field: str, message: str) -> None:
        """Note that a field is wrong."""
        self.problems.append(FieldProblem(where, f"{where.path}{field}", message))

    def words(self, record: Record, field: str, where: Where) -> Words:
        """Return a text in every language of the title."""
        table = record.get(field)
        if not isinstance(table, dict):
            self.add(
                where,
                f"{field}-{self.languages[0]}",
                f'"{field}" is missing; give it as one text for each language '
                f"({', '.join(self.languages)}).",
            )
            return MappingProxyType({})
        for language in self.languages:
            if language not in table:
                said = f'"{field}" has no text in "{language}".'
                self.add(where, f"{field}-{language}", said)
        for language, text in table.items():
            if language not in codes():
                self.add(
                    where,
                    f"{field}-{language}",
                    f'"{field}" has the unknown language "{language}"; '
                    f"known are {', '.join(codes())}.",
                )
            elif language not in self.languages:
                said = f'"{field}" has a text in "{language}", but the title has none.'
                self.add(where, f"{field}-{language}", said)
            if not isinstance(text, str) or not text.strip():
                said = f'"{field}" in "{language}" is empty or no text.'
                self.add(where, f"{field}-{language}", said)
        return MappingProxyType({k: v.strip() for k, v in table.items() if isinstance(v, str)})

    def words_if_any(self, record: Record, field: str, where: Where) -> Words | None:
        """Return a text that may be left out."""
        return self.words(record, field, where) if field in record else None

    def string(self, record: Record, field: str, where: Where) -> str:
        """Return one word or line."""
        value = record.get(field)
        if isinstance(value, str) and value.strip():
            return value
        self.add(where, field, f'"{field}" is missing or is no text.')
        return ""

    def slug(self, record: Record, field: str, where: Where) -> str:
        """Return a key that may stand in an address."""
        value = self.string(record, field, where)
        if value and not is_slug(value):
            self.add(
                where,
                field,
                f'"{field}" takes small letters, digits and single hyphens, '
                f"at most {MAX_KEY_LENGTH} of them.",
            )
        return value

    def yes_or_no(self, record: Record, field: str, where: Where) -> bool:
        """Return true or false."""
        value = record.get(field)
        if isinstance(value, bool):
            return value
        self.add(where, field, f'"{field}" must be true or false.')
        return False

    def whole_number(self, record: Record, field: str, where: Where) -> int | None:
        """Return a whole number."""
        value = record.get(field)
        # bool is an int in Python, and "place = true" is a slip, not a place of 1.
        if isinstance(value, int) and not isinstance(value, bool):
            return value
        self.add(where, field, f'"{field}" must be a whole number.')
        return None

    def decimal(self, record: Record, field: str, where: Where) -> Decimal:
        """Return a number, which the file has in quotes."""
        value = record.get(field)
        try:
            number = Decimal(value) if isinstance(value, str) else Decimal("NaN")
        except InvalidOperation:
            number = Decimal("NaN")
        if number.is_finite():
            return number
        self.add(where, field, f'"{field}" must be a number in quotes, such as "64".')
        return Decimal(0)

    def tables(self, record: Record, field: str, where: Where) -> list[Record]:
        """Return the entries of an array of tables, at least one."""
        value = record.get(field)
        if isinstance(value, list) and value and all(isinstance(entry, dict) for entry in value):
            return value
        self.add(where, field, f'there is no "[[{field}]]".')
        return []

    def check_known(self, record: Record, allowed: Collection[str], where: Where) -> None:
        """A slip in a field's name must not pass as nothing."""
        for field in record:
            if field not in allowed:
                self.add(where, field, f'unknown field "{field}".')

    def check_unique(self, keys: list[str], what: str, where: Where) -> None:
        """Keys tell things apart."""
        for key, count in Counter(keys).items():
            if key and count > 1:
                self.add(where, what, f'{count} {what} have the key "{key}".')
