"""Which languages do patients read, and what is each called?

English and Spanish come with the programme's texts. Others are named in a file that whoever runs
the programme keeps beside its catalogues (see "To add a language" in DEVELOPERS.md). They are read
once, when the process starts, and are the same for every rule from then on.
"""

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

SOURCE_LANGUAGE = "en"
LONGEST_CODE = 8  # characters, as wide as the record's own column
LONGEST_NAME = 40
# As BCP 47 writes a language, a script or a region behind it; small letters, as Django wants it.
_CODE = re.compile(r"[a-z]{2,3}(?:-[a-z0-9]{2,4})?")
_FIELDS = frozenset({"name", "own_name", "direction", "called"})


class Direction(StrEnum):
    """Which way a line runs; the values are HTML's."""

    LEFT_TO_RIGHT = "ltr"
    RIGHT_TO_LEFT = "rtl"


@dataclass(frozen=True)
class Language:
    """A language that patients read.

    `name` is the English one, for staff; `own_name` stands on the patient's button. `called`: the
    words, in small letters, by which schedules and messages name it.
    """

    code: str
    name: str
    own_name: str
    direction: Direction = Direction.LEFT_TO_RIGHT
    called: tuple[str, ...] = ()


ENGLISH = Language(
    "en", "English", "English", called=("en", "eng", "english", "inglés", "ingles", "en-us")
)
SPANISH = Language(
    "es",
    "Spanish",
    "Español",
    called=("es", "spa", "spanish", "español", "espanol", "castellano", "es-us", "es-mx"),
)
BUILT_IN = (ENGLISH, SPANISH)


class LanguagesError(ValueError):
    """The file names no languages. `problems` says why, one plain sentence each."""

    def __init__(self, problems: Iterable[str]) -> None:
        self.problems = tuple(problems)
        super().__init__(" ".join(self.problems))


def read_languages(text: str) -> tuple[Language, ...]:
    """Return the built-in languages and those that the file (TOML) names, one table each.

    Raises LanguagesError with everything that is wrong.
    """
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise LanguagesError([f"The file is not valid TOML: {error}."]) from error
    problems = [said for code, table in tables.items() for said in _problems(code, table)]
    if problems:
        raise LanguagesError(problems)
    added = tuple(_language(code, table) for code, table in tables.items())
    problems = _called_twice((*BUILT_IN, *added))
    if problems:
        raise LanguagesError(problems)
    return (*BUILT_IN, *added)


def _problems(code: str, table: Any) -> list[str]:
    if len(code) > LONGEST_CODE or not _CODE.fullmatch(code):
        return [f'"{code}" is no code of a language: use one such as "fr" or "pt-br".']
    if any(code == one.code for one in BUILT_IN):
        return [f'"{code}" is there already; leave it out.']
    if not isinstance(table, Mapping):
        return [f'"{code}" is to be a table: [{code}], and its fields below.']
    said = [f'"{code}" has the unknown field "{field}".' for field in sorted(set(table) - _FIELDS)]
    for field in ("name", "own_name"):
        text = table.get(field)
        if not isinstance(text, str) or not 1 <= len(text.strip()) <= LONGEST_NAME:
            said.append(f'"{code}" needs "{field}", of at most {LONGEST_NAME} characters.')
    if table.get("direction", Direction.LEFT_TO_RIGHT) not in list(Direction):
        said.append(f'"direction" of "{code}" is "ltr" or "rtl".')
    called = table.get("called", [])
    if not isinstance(called, list) or not all(isinstance(word, str) for word in called):
        said.append(f'"called" of "{code}" is a list of words.')
    return said


def _language(code: str, table: Mapping[str, Any]) -> Language:
    name, own_name = table["name"].strip(), table["own_name"].strip()
    words = (code, name, own_name, *table.get("called", ()))
    called = dict.fromkeys(word.strip().casefold() for word in words if word.strip())
    direction = Direction(table.get("direction", Direction.LEFT_TO_RIGHT))
    return Language(code, name, own_name, direction, tuple(called))


def _called_twice(languages: Iterable[Language]) -> list[str]:
    seen: dict[str, str] = {}
    said = []
    for one in languages:
        for word in one.called:
            if seen.setdefault(word, one.code) != one.code:
                said.append(f'"{word}" names both "{seen[word]}" and "{one.code}".')
    return said


# --- what is offered here ------------------------------------------------------------------------

_offered: tuple[Language, ...] = BUILT_IN


def offer(languages: tuple[Language, ...]) -> tuple[Language, ...]:
    """Offer these languages from now on; return those that were offered before.

    Called once, by the settings. (And by tests, which put the former ones back.)
    """
    global _offered
    before, _offered = _offered, languages
    return before


def offered() -> tuple[Language, ...]:
    """Return the languages that patients may read, English first."""
    return _offered


def codes() -> tuple[str, ...]:
    """Return their codes."""
    return tuple(one.code for one in _offered)


def added() -> tuple[Language, ...]:
    """Return those that a programme added to English and Spanish."""
    return tuple(one for one in _offered if one not in BUILT_IN)


def choices() -> list[tuple[str, str]]:
    """Return their codes with their English names, for a form of staff's."""
    return [(one.code, one.name) for one in _offered]


def name_of(code: str) -> str:
    """Return a language's English name; the code itself of one that is not offered any more."""
    return next((one.name for one in _offered if one.code == code), code)


def own_name_of(code: str) -> str:
    """Return what a language calls itself; the code of one that is not offered any more."""
    return next((one.own_name for one in _offered if one.code == code), code)


def direction_of(code: str) -> Direction:
    """Return which way a language's lines run."""
    found = (one.direction for one in _offered if one.code == code)
    return next(found, Direction.LEFT_TO_RIGHT)


def meant_by(word: str) -> str:
    """Return the code of the language that a schedule or message means; "" for none of ours."""
    plain = word.strip().casefold()
    return next((one.code for one in _offered if plain in one.called), "")
