"""What modules are called, by the words of their latest editions."""

from collections.abc import Iterable

from education.models import Edition
from education.rules.module_text import SOURCE_LANGUAGE


def titles(module_ids: Iterable[int], *, language: str = SOURCE_LANGUAGE) -> dict[int, str]:
    """Return the title of each module that has an edition, by the module's id."""
    rows = Edition.objects.filter(module__in=set(module_ids)).order_by("number")
    return {
        edition.module_id: edition.title.get(language) or edition.title[SOURCE_LANGUAGE]
        for edition in rows
    }
