"""Change one part of a draft: returns what the whole says then, and leaves what it said before.

A part is named by its key; keys are made here, from the words, and never change afterwards.
"""

from collections.abc import Callable, Collection
from copy import deepcopy
from typing import Any

from django.utils.text import slugify

from education.rules.scoring import Kind
from patients.rules.languages import SOURCE_LANGUAGE, codes

Record = dict[str, Any]

LONGEST_MADE_KEY = 40
TRUE_OR_FALSE = (
    ("true", {"en": "True", "es": "Verdadero"}),
    ("false", {"en": "False", "es": "Falso"}),
)
ENTRIES = {Kind.ORDER: "item", Kind.MATCH: "pair"}
"""What the options of a kind are called in the record; "option" of all others."""


def entries_name(kind: str) -> str:
    """Return what the options of a kind are called in the record."""
    return ENTRIES.get(Kind(kind), "option")


def find(content: Record, what: str, key: str) -> Record | None:
    """Return the section or question with this key, or None."""
    return next((one for one in content[what] if one["key"] == key), None)


def version_of(question: Record, number: int) -> Record | None:
    """Return a version of a question: 1 is the question itself."""
    every = [question, *question.get("version", [])]
    return every[number - 1] if 1 <= number <= len(every) else None


def new_key(text: str, taken: Collection[str], fallback: str) -> str:
    """Return a key made of a text that nothing has yet."""
    made = slugify(text)[:LONGEST_MADE_KEY].strip("-").replace("_", "-") or fallback
    while "--" in made:
        made = made.replace("--", "-")
    key, number = made, 2
    while key in taken or key == "new":
        key, number = f"{made}-{number}", number + 1
    return key


def with_section(content: Record, key: str, section: Record) -> tuple[Record, str]:
    """Put a section in place of the one with this key, or behind the last one if it is new."""
    return _with(content, "section", key, section, section["heading"])


def with_question(content: Record, key: str, question: Record) -> tuple[Record, str]:
    """Put a question in place of the one with this key, or behind the last one if it is new."""
    return _with(content, "question", key, question, question["stem"])


def _with(
    content: Record, what: str, key: str, part: Record, words: dict[str, str]
) -> tuple[Record, str]:
    changed = deepcopy(content)
    parts: list[Record] = changed[what]
    for place, one in enumerate(parts):
        if one["key"] == key:
            parts[place] = {**part, "key": key}
            return changed, key
    taken = {one["key"] for one in parts}
    made = new_key(words.get(SOURCE_LANGUAGE, ""), taken, f"{what}-{len(parts) + 1}")
    parts.append({**part, "key": made})
    return changed, made


def blank_question(kind: str, section: str) -> Record:
    """Return a question with nothing in it yet."""
    words = dict.fromkeys(codes(), "")
    question: Record = {
        "kind": kind,
        "safety_critical": False,
        "section": section,
        "stem": words,
        "explanation": words,
    }
    return question | _blank_answers(kind)


def with_version(content: Record, key: str) -> Record:
    """Add a further version of a question with nothing in it yet."""

    def add(question: Record) -> None:
        blank = {"stem": dict.fromkeys(codes(), ""), **_blank_answers(question["kind"])}
        question.setdefault("version", []).append(blank)

    return _changing(content, key, add)


def without_version(content: Record, key: str, number: int) -> Record:
    """Take a further version of a question out."""

    def remove(question: Record) -> None:
        versions = question.get("version", [])
        if 2 <= number <= len(versions) + 1:
            del versions[number - 2]
        if not versions:
            question.pop("version", None)

    return _changing(content, key, remove)


def moved(content: Record, what: str, key: str, by: int) -> Record:
    """Move a section or question one place up (-1) or down (1)."""
    changed = deepcopy(content)
    parts: list[Record] = changed[what]
    place = next((n for n, one in enumerate(parts) if one["key"] == key), None)
    if place is not None and 0 <= place + by < len(parts):
        parts[place], parts[place + by] = parts[place + by], parts[place]
    return changed


def without(content: Record, what: str, key: str) -> Record:
    """Take a section or question out."""
    changed = deepcopy(content)
    changed[what] = [one for one in changed[what] if one["key"] != key]
    return changed


def _blank_answers(kind: str) -> Record:
    if kind == Kind.NUMBER:
        return {"unit": dict.fromkeys(codes(), ""), "answer": "", "tolerance": "0"}
    if kind == Kind.TRUE_FALSE:
        options = [{"key": key, "text": text, "right": False} for key, text in TRUE_OR_FALSE]
        return {"option": options}
    return {entries_name(kind): []}


def _changing(content: Record, key: str, change: Callable[[Record], None]) -> Record:
    changed = deepcopy(content)
    question = find(changed, "question", key)
    if question is not None:
        change(question)
    return changed
