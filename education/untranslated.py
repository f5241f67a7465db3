"""Everything that patients read and that is not there in a language, wherever it is written."""

from dataclasses import dataclass
from pathlib import Path

from babel.messages.pofile import PoFileError
from django.conf import settings

from education import email_words
from education.drafting import archived_modules, latest, open_draft
from education.edition_record import record_of
from education.models import Edition, Module, OftenAskedWords
from education.rules.eating_stages import Stage
from education.rules.module_parts import in_language
from education.rules.untranslated import Missing, missing_in_module, missing_texts
from education.stage_tables import current, stages_of
from education.translations import (
    LANGUAGE as SPANISH,
)
from education.translations import (
    catalogue_of,
    catalogue_path,
    read_catalogue,
    texts_without,
)
from patients.rules.languages import SOURCE_LANGUAGE, codes


@dataclass(frozen=True)
class OfModule:
    """What a module lacks: of its open draft, where there is one, else of its latest edition."""

    code: str
    title: str
    in_draft: bool
    missing: tuple[Missing, ...]


@dataclass(frozen=True)
class OfEntry:
    """An entry of “people often ask” that patients see in another language, and not in this one."""

    module: str
    entry: int
    words: str


@dataclass(frozen=True)
class OfInterface:
    """The catalogue of the pages and emails: the English texts that it has no translation of.

    `there` is False where there is no catalogue, or none that can be read.
    """

    path: Path
    there: bool
    texts: tuple[str, ...]


def of_modules(language: str) -> list[OfModule]:
    """Return the modules that lack something in a language, those in the archive left out."""
    found = []
    for module in Module.objects.exclude(pk__in=archived_modules()).order_by("code"):
        edition = Edition.objects.filter(module=module).order_by("-number").first()
        draft = open_draft(module.code)
        if draft is None and edition is None:
            continue
        record = latest(draft).content if draft else record_of(edition) if edition else {}
        missing = missing_in_module(record, language)
        if missing:
            title = in_language(record["title"], SOURCE_LANGUAGE) or module.code
            found.append(OfModule(module.code, title, draft is not None, missing))
    return found


def of_often_asked(language: str) -> list[OfEntry]:
    """Return the entries that are shown and have no words in a language."""
    latest_words: dict[int, OftenAskedWords] = {}
    rows = OftenAskedWords.objects.select_related("entry__module").order_by("entry", "number")
    for row in rows:
        latest_words[row.entry_id] = row
    return [
        OfEntry(row.entry.module.code, row.entry_id, next(iter(row.question.values()), ""))
        for row in latest_words.values()
        if row.shown and not (row.question.get(language) and row.answer.get(language))
    ]


def of_emails(language: str) -> list[str]:
    """Return the emails with words of the programme's own in another language, and not in this."""
    own = email_words.changed()
    return [
        name
        for name in email_words.EDITABLE
        if (name, language) not in own and any((name, code) in own for code in codes())
    ]


def of_stages(language: str) -> list[tuple[Stage, tuple[str, ...]]]:
    """Return the eating stages that lack something in a language, with the names of the parts."""
    table = current()
    found = []
    for stage in stages_of(table) if table else ():
        parts = missing_texts(
            {
                "name": stage.name,
                "allowed": stage.allowed,
                "not allowed": stage.avoided,
                "what to do": stage.to_do,
                "solid meal": stage.meal,
            },
            language,
        )
        if parts:
            found.append((stage, parts))
    return found


def of_interface(language: str) -> OfInterface:
    """Return what the catalogue of a language lacks. The Spanish one says which texts there are:
    it is held in step with them.
    """
    spanish = catalogue_path(settings.BASE_DIR)
    path = spanish if language == SPANISH else catalogue_of(language, settings.LANGUAGES_DIR)
    wanted = read_catalogue(spanish)
    try:
        known = read_catalogue(path, language) if path.exists() else None
    except (OSError, PoFileError):
        known = None
    return OfInterface(path, known is not None, tuple(texts_without(wanted, known)))
