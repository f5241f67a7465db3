"""What of a text that was written in English is not there in another language?"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from patients.rules.languages import SOURCE_LANGUAGE


class Part(StrEnum):
    """What kind of text it is."""

    TITLE = "title"
    SECTION = "section"
    ASK_YOURSELF = "ask_yourself"
    FILE = "file"  # the words of a picture, or a video's captions and transcript
    QUESTION = "question"
    OPTION = "option"
    EXPLANATION = "explanation"
    TEACH_BACK = "teach_back"


@dataclass(frozen=True)
class Missing:
    """A text that is not translated: of which section or question, in English."""

    part: Part
    key: str
    english: str
    version: int = 1


_OF_SECTION = {"heading": Part.SECTION, "body": Part.SECTION, "ask_yourself": Part.ASK_YOURSELF}
_OF_QUESTION = {"stem": Part.QUESTION, "explanation": Part.EXPLANATION, "ask": Part.TEACH_BACK}


def missing_in_module(record: Mapping[str, Any], language: str) -> tuple[Missing, ...]:
    """Return what a module, as its file or draft says it, does not have in a language.

    A text that is not there in English either is unfinished, and no matter of translation.
    """
    return tuple(_missing(record, language))


def _missing(record: Mapping[str, Any], language: str) -> Iterator[Missing]:
    yield from _of(Part.TITLE, "", 1, record.get("title"), language)
    for section in record.get("section", ()):
        for field, value in section.items():
            part = _OF_SECTION.get(field, Part.FILE)
            yield from _of(part, section["key"], 1, value, language)
    for question in record.get("question", ()):
        for number, version in enumerate([question, *question.get("version", ())], start=1):
            for field, value in version.items():
                if field != "version":
                    part = _OF_QUESTION.get(field, Part.OPTION)
                    yield from _of(part, question["key"], number, value, language)


def _of(part: Part, key: str, version: int, value: Any, language: str) -> Iterator[Missing]:
    """Look through whatever holds texts: a text, lists and tables of them."""
    if isinstance(value, list | tuple):
        for one in value:
            yield from _of(part, key, version, one, language)
    elif _is_text(value):
        english = str(value[SOURCE_LANGUAGE]).strip()
        if english and not str(value.get(language, "")).strip():
            yield Missing(part, key, english, version)
    elif isinstance(value, Mapping):
        for one in value.values():
            yield from _of(part, key, version, one, language)


def _is_text(value: Any) -> bool:
    return (
        isinstance(value, Mapping)
        and SOURCE_LANGUAGE in value
        and all(isinstance(one, str) for one in value.values())
    )


def missing_texts(
    texts: Mapping[str, Mapping[str, str | Sequence[str]]], language: str
) -> tuple[str, ...]:
    """Return the names of the texts that have something in English and nothing in a language."""
    return tuple(
        name for name, said in texts.items() if said.get(SOURCE_LANGUAGE) and not said.get(language)
    )
