"""What is different between two editions of a module?

Sections and questions are known again by their keys. What is compared are the records that a
module's file, a draft and an edition share; the words are compared in every language.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from education.rules.picture_marks import placed, without_pictures

Record = Mapping[str, Any]


class Change(StrEnum):
    TITLE = "title"
    PASS_MARK = "pass_mark"
    LANGUAGES = "languages"
    SECTION_ADDED = "section_added"
    SECTION_REMOVED = "section_removed"
    SECTION_REWORDED = "section_reworded"
    SECTIONS_REORDERED = "sections_reordered"
    PICTURES = "pictures"
    VIDEO = "video"
    QUESTION_ADDED = "question_added"
    QUESTION_REMOVED = "question_removed"
    QUESTION_REWORDED = "question_reworded"
    RIGHT_ANSWER = "right_answer"
    SAFETY_MARK = "safety_mark"
    VERSIONS = "versions"
    QUESTIONS_REORDERED = "questions_reordered"


WEIGHTY = frozenset(
    {
        Change.PASS_MARK,
        Change.QUESTION_ADDED,
        Change.QUESTION_REMOVED,
        Change.RIGHT_ANSWER,
        Change.SAFETY_MARK,
    }
)
"""Changes after which a quiz passed before may not mean the same any more."""


@dataclass(frozen=True)
class Changed:
    """One change. `about` is the heading, the stem or the key of what changed, else ""."""

    change: Change
    about: str = ""
    before: str = ""
    after: str = ""


def changes(before: Record, after: Record, *, language: str) -> tuple[Changed, ...]:
    """Return what changed, in the order of the module; `language` names what it is about."""
    found: list[Changed] = []
    languages = (" and ".join(before["title"]), " and ".join(after["title"]))
    if languages[0] != languages[1]:
        found.append(Changed(Change.LANGUAGES, "", *languages))
    titles = (before["title"].get(language, ""), after["title"].get(language, ""))
    if dict(before["title"]) != dict(after["title"]):
        found.append(Changed(Change.TITLE, "", *(titles if titles[0] != titles[1] else ())))
    if before["pass_mark"] != after["pass_mark"]:
        marks = (f"{before['pass_mark']} %", f"{after['pass_mark']} %")
        found.append(Changed(Change.PASS_MARK, "", *marks))
    found += _sections(_by_key(before, "section"), _by_key(after, "section"), language)
    found += _questions(_by_key(before, "question"), _by_key(after, "question"), language)
    return tuple(found)


def _sections(
    before: dict[str, Record], after: dict[str, Record], language: str
) -> Iterator[Changed]:
    yield from _added_and_removed(
        before, after, "heading", language, Change.SECTION_ADDED, Change.SECTION_REMOVED
    )
    for key in after:
        if key in before and before[key] != after[key]:
            yield from _section(before[key], after[key], _about(after[key], "heading", language))
    if _reordered(before, after):
        yield Changed(Change.SECTIONS_REORDERED)


def _section(before: Record, after: Record, about: str) -> Iterator[Changed]:
    if _told(before) != _told(after):
        yield Changed(Change.SECTION_REWORDED, about)
    if _shown(before) != _shown(after):
        named = (", ".join(p["key"] for p in one.get("picture") or ()) for one in (before, after))
        names = [name or "none" for name in named]
        yield Changed(Change.PICTURES, about, *(names if names[0] != names[1] else ()))
    videos = [one.get("video") or {} for one in (before, after)]
    if videos[0] != videos[1]:
        words = [("one" if video else "none") for video in videos]
        yield Changed(Change.VIDEO, about, *(words if words[0] != words[1] else ()))


def _told(section: Record) -> object:
    """What a section says in words; where its pictures stand is not among them."""
    words = {k: v for k, v in section.items() if k not in ("picture", "video", "body")}
    body = section.get("body") or {}
    return words, {code: without_pictures(text) for code, text in body.items()}


def _shown(section: Record) -> object:
    """The pictures of a section, and in which order they stand."""
    body = section.get("body") or {}
    return section.get("picture") or [], {code: placed(text) for code, text in body.items()}


def _questions(
    before: dict[str, Record], after: dict[str, Record], language: str
) -> Iterator[Changed]:
    yield from _added_and_removed(
        before, after, "stem", language, Change.QUESTION_ADDED, Change.QUESTION_REMOVED
    )
    for key, question in after.items():
        if key not in before or before[key] == question:
            continue
        yield from _question(before[key], question, _about(question, "stem", language))
    if _reordered(before, after):
        yield Changed(Change.QUESTIONS_REORDERED)


def _question(before: Record, after: Record, about: str) -> Iterator[Changed]:
    if before["safety_critical"] != after["safety_critical"]:
        marks = [_MARK[bool(one["safety_critical"])] for one in (before, after)]
        yield Changed(Change.SAFETY_MARK, about, *marks)
    versions = [_versions(one) for one in (before, after)]
    if len(versions[0]) != len(versions[1]):
        yield Changed(Change.VERSIONS, about, *(str(len(one)) for one in versions))
    both = list(zip(*versions, strict=False))
    if before["kind"] != after["kind"] or any(_right(one) != _right(two) for one, two in both):
        yield Changed(Change.RIGHT_ANSWER, about)
    if before["explanation"] != after["explanation"] or any(
        _words(one) != _words(two) for one, two in both
    ):
        yield Changed(Change.QUESTION_REWORDED, about)


_MARK = {True: "safety-critical", False: "not safety-critical"}


def _versions(question: Record) -> list[Record]:
    return [question, *question.get("version", ())]


def _added_and_removed(
    before: dict[str, Record],
    after: dict[str, Record],
    name: str,
    language: str,
    added: Change,
    removed: Change,
) -> Iterator[Changed]:
    for key, one in before.items():
        if key not in after:
            yield Changed(removed, _about(one, name, language))
    for key, one in after.items():
        if key not in before:
            yield Changed(added, _about(one, name, language))


def _right(version: Record) -> object:
    """What is right, by the keys of options."""
    return (
        sorted(o["key"] for o in version.get("option", ()) if o["right"]),
        sorted((i["place"], i["key"]) for i in version.get("item", ())),
        sorted(p["key"] for p in version.get("pair", ())),
        version.get("answer"),
        version.get("tolerance"),
    )


def _words(version: Record) -> object:
    options = [
        [(o["key"], o["text"], o.get("match")) for o in version.get(what, ())]
        for what in ("option", "item", "pair")
    ]
    told = (
        version.get(name)
        for name in ("stem", "explanation", "section", "unit", "shuffle", "teach_back")
    )
    return *told, options


def _reordered(before: dict[str, Record], after: dict[str, Record]) -> bool:
    stayed = [key for key in before if key in after]
    return stayed != [key for key in after if key in before]


def _by_key(module: Record, what: str) -> dict[str, Record]:
    return {one["key"]: one for one in module.get(what, ())}


def _about(record: Record, name: str, language: str) -> str:
    words = record.get(name) or {}
    return str(words.get(language) or record["key"])
