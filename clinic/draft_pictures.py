"""The pictures of a draft, for the pages of the editor: each as it looks, and what all weigh."""

import zlib
from typing import Any

from clinic.file_words import heavy
from education.rules.page_weight import too_heavy
from education.shown_files import Kept, kept_files, shown_pictures
from patients.rules.languages import SOURCE_LANGUAGE

Record = dict[str, Any]
_PAGE_ITSELF = 9_000  # bytes: stylesheets, headers and what stands around the lesson


def pictures_shown(section: Record) -> list[tuple[Record, Any]]:
    """Return the pictures of a section, each with what is shown of it (None: its file is gone)."""
    pictures = section.get("picture", [])
    kept = kept_files([(pictures, {})])
    shown = {one.key: one for one in shown_pictures(pictures, kept, SOURCE_LANGUAGE)}
    return [(one, shown.get(one["key"])) for one in pictures]


def too_heavy_in_words(content: Record) -> str:
    """Return a warning for the author when a lesson with its pictures is slow to come, or ""."""
    pictures = [one for section in content["section"] for one in section.get("picture", [])]
    kept: Kept = kept_files([(pictures, {})])
    words = " ".join(section["body"].get(SOURCE_LANGUAGE, "") for section in content["section"])
    page = _PAGE_ITSELF + len(zlib.compress(words.encode()))
    found = too_heavy(page, [kept[p["file"]].size for p in pictures if p["file"] in kept])
    return heavy(found) if found else ""
