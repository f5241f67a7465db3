"""What the page “Not translated” says: per language, what is missing and where it is written."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.urls import reverse

from clinic.views.mail import EMAILS
from education import untranslated
from education.rules.untranslated import Missing, Part
from education.untranslated import OfModule
from patients.rules.languages import SOURCE_LANGUAGE, Language

PART = {
    Part.TITLE: "title",
    Part.SECTION: "section",
    Part.ASK_YOURSELF: "“ask yourself”",
    Part.FILE: "words of a picture or video",
    Part.QUESTION: "question",
    Part.OPTION: "answers to choose from",
    Part.EXPLANATION: "explanation",
    Part.TEACH_BACK: "teach-back question",
}
LONGEST = 90  # characters of a text that are shown


@dataclass(frozen=True)
class Line:
    """One text that is missing; `address` is the page where it is written, "" for none."""

    words: str
    address: str = ""


@dataclass(frozen=True)
class Group:
    """What is missing in one place, with the page where it is written."""

    heading: str
    note: str
    address: str
    count: int
    lines: list[Line]


def groups(language: Language) -> list[Group]:
    """Return everything that is missing in a language, place by place."""
    code = language.code
    found = [_module(one, code) for one in untranslated.of_modules(code)]
    found += _often_asked(code)
    if code != SOURCE_LANGUAGE:
        found += _emails(language) + _stages(code) + _interface(language)
    return found


def _module(one: OfModule, language: str) -> Group:
    name = "module-draft" if one.in_draft else "module"
    where = "its draft" if one.in_draft else "its latest edition: write the next one"
    return Group(
        one.title,
        f"module, in {where}",
        reverse(name, args=[one.code]),
        len(one.missing),
        [Line(_missing_words(m), _address(one, m)) for m in one.missing],
    )


def _missing_words(missing: Missing) -> str:
    version = f", version {missing.version}" if missing.version > 1 else ""
    return f"{PART[missing.part]}{version}: {_short(missing.english)}"


def _address(one: OfModule, missing: Missing) -> str:
    if not one.in_draft:
        return ""
    if missing.part == Part.TITLE:
        return reverse("module-draft-head", args=[one.code])
    if missing.part in (Part.SECTION, Part.ASK_YOURSELF, Part.FILE):
        return reverse("module-draft-section", args=[one.code, missing.key])
    return reverse("module-draft-question", args=[one.code, missing.key, missing.version])


def _often_asked(language: str) -> list[Group]:
    by_module: dict[str, list[Line]] = {}
    for one in untranslated.of_often_asked(language):
        line = Line(_short(one.words), reverse("often-asked-entry", args=[one.module, one.entry]))
        by_module.setdefault(one.module, []).append(line)
    return [
        Group("People often ask", code, reverse("often-asked", args=[code]), len(lines), lines)
        for code, lines in by_module.items()
    ]


def _emails(language: Language) -> list[Group]:
    names = untranslated.of_emails(language.code)
    lines = [Line(EMAILS[name], reverse("mail-text", args=[name, language.code])) for name in names]
    note = "your own words in another language; here the original ones go out"
    return _group("Emails", note, reverse("mail-texts"), lines)


def _stages(language: str) -> list[Group]:
    lines = [
        Line(
            f"{stage.name[SOURCE_LANGUAGE]}: {', '.join(parts)}",
            reverse("eating-stage-days" if parts == ("name",) else "eating-stage", args=args),
        )
        for stage, parts in untranslated.of_stages(language)
        for args in [[] if parts == ("name",) else [stage.key]]
    ]
    return _group("Eating stages", "patients read English there", reverse("eating-stages"), lines)


def _interface(language: Language) -> list[Group]:
    found = untranslated.of_interface(language.code)
    lines = [Line(_short(text)) for text in found.texts]
    note = f"patients read English there; the translations are written in {found.path}"
    if not found.there:
        note += (
            f", which is not there yet: manage.py translations --language {language.code} makes it"
        )
    return _group("Pages and emails", note, "", lines)


def _group(heading: str, note: str, address: str, lines: Iterable[Line]) -> list[Group]:
    listed = list(lines)
    return [Group(heading, note, address, len(listed), listed)] if listed else []


def _short(text: str) -> str:
    words = " ".join(text.split())
    return words if len(words) <= LONGEST else f"{words[: LONGEST - 1]}…"
