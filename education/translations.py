"""Catalogues, kept in step with the texts that patients read, without GNU gettext.

The Spanish one is part of the code; those of languages that a programme adds lie in a folder of its
own. Staff pages are English only. So messages are taken from the patients' templates and emails,
and from whatever is marked for translation in the Python of `patients` and `education`, and from
nowhere else. Nothing is guessed: a changed English text is a new message without a translation,
never a "fuzzy" one.
"""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import Any

from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract
from babel.messages.mofile import read_mo, write_mo
from babel.messages.pofile import read_po, write_po
from django.utils.translation import templatize, to_locale

from patients.rules.languages import name_of

LANGUAGE = "es"
CATALOGUE = Path("education/locale") / LANGUAGE / "LC_MESSAGES" / "django.po"
_FILE = Path("LC_MESSAGES") / "django.po"
TEMPLATE_FOLDERS = ("templates/education", "templates/emails")
TEMPLATE_ENDINGS = frozenset({".html", ".txt", ".svg"})
PYTHON_FOLDERS = ("education", "patients")
# Read by developers and staff only.
LEFT_OUT_FOLDERS = frozenset({"migrations", "management"})
LEFT_OUT_FILES = frozenset({"admin.py"})

# Which arguments hold the text: None is the first; "c" marks the context.
_KEYWORDS: Mapping[str, Any] = {
    "_": None,
    "gettext": None,
    "gettext_lazy": None,
    "gettext_noop": None,
    "ngettext": (1, 2),
    "ngettext_lazy": (1, 2),
    "pgettext": ((1, "c"), 2),
    "pgettext_lazy": ((1, "c"), 2),
    "npgettext": ((1, "c"), 2, 3),
    "npgettext_lazy": ((1, "c"), 2, 3),
}
_HEADER = "# {name} texts of the pages and emails that patients read.\n#"
_LINE_WIDTH = 98


def catalogue_path(root: Path) -> Path:
    """Where the catalogue lies in the project at `root`."""
    return root / CATALOGUE


def catalogue_of(language: str, folder: Path) -> Path:
    """Where the catalogue of an added language lies below the folder of languages."""
    return folder / to_locale(language) / _FILE


def template_files(root: Path) -> list[Path]:
    """The templates whose texts patients read, in the order of their paths."""
    return sorted(
        path
        for folder in TEMPLATE_FOLDERS
        for path in (root / folder).rglob("*")
        if path.suffix in TEMPLATE_ENDINGS
    )


def python_files(root: Path) -> list[Path]:
    """The Python files whose marked texts patients read, in the order of their paths."""
    return sorted(
        path
        for folder in PYTHON_FOLDERS
        for path in (root / folder).rglob("*.py")
        if path.name not in LEFT_OUT_FILES
        and LEFT_OUT_FOLDERS.isdisjoint(path.relative_to(root).parts)
    )


def python_messages(source: str) -> list[Message]:
    """The messages marked for translation in Python source, in order, with their line."""
    return [
        Message(
            found if isinstance(found, str) else tuple(found),
            locations=[("", line)],
            context=context,
        )
        for line, found, _comments, context in extract(
            "python",
            BytesIO(source.encode()),
            keywords=_KEYWORDS,
            options={"encoding": "utf-8"},
        )
    ]


def template_messages(source: str, name: str) -> list[Message]:
    """The messages marked for translation in a template; `name` is for the error message.

    Raises SyntaxError when a translation block holds another tag.
    """
    # Django turns a template into calls of gettext between filler. The filler keeps the template's
    # indentation, which Python's tokenizer refuses; the calls never run over a line's end.
    calls = templatize(source, origin=name)
    return python_messages("\n".join(line.strip() for line in calls.split("\n")))


def extract_messages(root: Path) -> Catalog:
    """All messages of the project at `root`, untranslated, with the files they stand in."""
    catalogue = Catalog(domain="django", charset="utf-8", fuzzy=False)
    for path in template_files(root):
        _add(catalogue, path.relative_to(root), template_messages(path.read_text(), str(path)))
    for path in python_files(root):
        _add(catalogue, path.relative_to(root), python_messages(path.read_text()))
    return catalogue


def _add(catalogue: Catalog, path: Path, messages: Iterable[Message]) -> None:
    for message in messages:
        lines = [line for _name, line in message.locations]
        catalogue.add(
            message.id,
            locations=[(path.as_posix(), line) for line in lines],
            context=message.context,
        )


def new_catalogue(now: datetime, language: str = LANGUAGE) -> Catalog:
    """An empty catalogue; `now`, with its zone, is written in its header."""
    return Catalog(
        locale=to_locale(language),
        domain="django",
        header_comment=_HEADER.format(name=name_of(language)),
        project="Clear by",
        version="1",
        msgid_bugs_address="none",
        creation_date=now,
        revision_date=now,
        last_translator="Clear by",
        language_team=name_of(language),
        charset="utf-8",
        fuzzy=False,
    )


def read_catalogue(path: Path, language: str = LANGUAGE) -> Catalog:
    """Read a .po file. Raises OSError, or babel's PoFileError for a broken one."""
    with path.open("rb") as file:
        return read_po(file, locale=to_locale(language), domain="django", abort_invalid=True)


def update_catalogue(
    root: Path, now: datetime, *, language: str = LANGUAGE, path: Path | None = None
) -> Catalog:
    """Bring a catalogue in step with the texts, write it and compile it; return it.

    Of an added language `path` says where it lies. Its texts without a translation are English.

    Translations of texts that are still there are kept, those of texts that are gone are dropped,
    new texts get an empty translation. Its header's dates stay, so that an update that changes
    nothing changes no byte.
    """
    path = path or catalogue_path(root)
    known = path.exists()
    catalogue = read_catalogue(path, language) if known else new_catalogue(now, language)
    catalogue.update(extract_messages(root), no_fuzzy_matching=True, update_creation_date=False)
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        write_po(
            file,
            catalogue,
            width=_LINE_WIDTH,
            sort_by_file=True,
            ignore_obsolete=True,
            include_lineno=False,
        )
    path.with_suffix(".mo").write_bytes(compiled(catalogue))
    return catalogue


def compiled(catalogue: Catalog) -> bytes:
    """The catalogue as a .mo file: translated messages only, fuzzy ones left out."""
    buffer = BytesIO()
    write_mo(buffer, catalogue)
    return buffer.getvalue()


def untranslated(catalogue: Catalog) -> list[Message]:
    """The messages that lack a translation, or one of its plural forms."""
    return [message for message in _messages(catalogue) if not all(_forms(message))]


def texts_without(wanted: Catalog, known: Catalog | None) -> list[str]:
    """The English texts of one catalogue that another one has no translation of, in order."""
    told = {
        key
        for key, message in (_by_key(known) if known else {}).items()
        if all(_forms(message)) and not message.fuzzy
    }
    return [_plain_text(message) for key, message in _by_key(wanted).items() if key not in told]


def _plain_text(message: Message) -> str:
    return message.id if isinstance(message.id, str) else str(message.id[0])


def catalogue_problems(
    root: Path, *, language: str = LANGUAGE, path: Path | None = None
) -> list[str]:
    """Everything that is wrong with a catalogue, one line each; empty when nothing is.

    Missing and fuzzy translations, translations whose placeholders do not fit, texts that the
    catalogue does not know, texts in it that are gone, and a .mo file older than its .po.
    """
    named = path or CATALOGUE
    path = path or catalogue_path(root)
    if not path.exists():
        return [f"No catalogue: {named} does not exist."]
    catalogue = read_catalogue(path, language)
    return [
        *_differences(extract_messages(root), catalogue),
        *(f"Not translated: {_quoted(message)}" for message in untranslated(catalogue)),
        *(f"Fuzzy: {_quoted(message)}" for message in _messages(catalogue) if message.fuzzy),
        *_misfits(catalogue),
        *_stale(catalogue, path.with_suffix(".mo")),
    ]


def _differences(source: Catalog, catalogue: Catalog) -> Iterator[str]:
    wanted, known = _by_key(source), _by_key(catalogue)
    for key, message in wanted.items():
        if key not in known:
            yield f"Not in the catalogue: {_quoted(message)}"
    for key, message in known.items():
        if key not in wanted:
            yield f"Obsolete, no page says it any more: {_quoted(message)}"


def _misfits(catalogue: Catalog) -> Iterator[str]:
    for message in _messages(catalogue):
        if all(_forms(message)):
            for error in message.check(catalogue):
                yield f"Does not fit its original ({error}): {_quoted(message)}"


def _stale(catalogue: Catalog, path: Path) -> Iterator[str]:
    """Compare what the .mo says, not its bytes: another version of babel writes another header."""
    if not path.exists():
        yield f"Not compiled: {path.name} does not exist."
        return
    with path.open("rb") as file:
        on_disk = read_mo(file)
    wanted = read_mo(BytesIO(compiled(catalogue)))
    if _translations(on_disk) != _translations(wanted):
        yield f"Stale: {path.name} does not say what {path.with_suffix('.po').name} says."


def _messages(catalogue: Catalog) -> Iterator[Message]:
    """Every message but the header, which has an empty id."""
    return (message for message in catalogue if message.id)


def _forms(message: Message) -> tuple[str, ...]:
    strings = message.string
    return (strings or "",) if isinstance(strings, str | None) else tuple(strings)


_Key = tuple[str | None, tuple[str, ...]]
"""What tells one message from another: its context, and its text or its singular and plural."""


def _by_key(catalogue: Catalog) -> dict[_Key, Message]:
    return {
        (
            message.context,
            (message.id,) if isinstance(message.id, str) else tuple(message.id),
        ): message
        for message in _messages(catalogue)
    }


def _translations(catalogue: Catalog) -> dict[_Key, tuple[str, ...]]:
    return {key: _forms(message) for key, message in _by_key(catalogue).items()}


def _quoted(message: Message) -> str:
    """The message's English text and the first file that says it."""
    text = message.id if isinstance(message.id, str) else message.id[0]
    where = f" ({message.locations[0][0]})" if message.locations else ""
    return f'"{" ".join(text.split())}"{where}'
