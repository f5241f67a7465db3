"""What modules are called, by the words of their latest editions."""

from collections.abc import Iterable
from datetime import datetime

from education.models import Edition
from education.rules.module_text import SOURCE_LANGUAGE


def titles(
    module_ids: Iterable[int] | None = None,
    *,
    language: str = SOURCE_LANGUAGE,
    known_at: datetime | None = None,
) -> dict[int, str]:
    """Return the title of each module that has an edition, or of those named, by module id.

    With `known_at` by the editions that had been published before that instant.
    """
    rows = Edition.objects.order_by("number")
    if known_at is not None:
        rows = rows.filter(recorded_at__lt=known_at)
    if module_ids is not None:
        rows = rows.filter(module__in=set(module_ids))
    return {
        module_id: title.get(language) or title[SOURCE_LANGUAGE]
        for module_id, title in rows.values_list("module", "title")
    }
