"""The words of the emails to patients: the original ones, and the programme's own in their place.

Only what stands around the protected parts can be changed: the link, the clear-by date, that the
days of a plan moved, the caution and the telephone numbers are the template's (emails/_letter.txt).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet, TextField
from django.template.loader import render_to_string
from django.utils import translation

from education.models import EmailText
from patients.models import latest_first
from patients.prepared import Given, prepared

# By the folder in templates/emails/.
EDITABLE = ("invitation", "reminder", "answer", "plan", "plan_moved")


@dataclass(frozen=True)
class Words:
    """A subject, and the paragraphs before and after the protected parts; blank lines part them."""

    subject: str
    before: str
    after: str

    @property
    def paragraphs_before(self) -> list[str]:
        return paragraphs(self.before)

    @property
    def paragraphs_after(self) -> list[str]:
        return paragraphs(self.after)


def paragraphs(text: str) -> list[str]:
    """Return the paragraphs of a text, each on one line."""
    parts = text.replace("\r\n", "\n").split("\n\n")
    return [" ".join(part.split()) for part in parts if part.strip()]


def original(name: str, language: str) -> Words:
    """Return the words that an email comes with."""
    with translation.override(language):
        parts = (render_to_string(f"emails/{name}/{part}.txt") for part in Words.__annotations__)
        subject, before, after = (part.strip() for part in parts)
    return Words(subject, before, after)


def in_force(name: str, language: str) -> Words:
    """Return the words that go out: the programme's own, or the original ones."""
    row = _latest(name, language)
    if row is None or row.original:
        return original(name, language)
    return Words(row.subject, row.before, row.after)


def history(name: str, language: str) -> list[EmailText]:
    """Return every change, the latest first."""
    rows = EmailText.objects.filter(name=name, language=language).select_related("by")
    return list(rows.order_by(*latest_first()))


def changed() -> set[tuple[str, str]]:
    """Return which emails have words of the programme's own, by name and language."""
    latest: dict[tuple[str, str], bool] = {}
    rows: Iterable[tuple[str, str, bool]] = EmailText.objects.order_by(
        "recorded_at", "id"
    ).values_list("name", "language", "original")
    for name, language, is_original in rows:
        latest[name, language] = not is_original
    return {key for key, own in latest.items() if own}


def change(name: str, language: str, words: Words, *, at: datetime, by_id: int) -> EmailText:
    """Put words of the programme's own in place; the earlier ones stay on record."""
    return EmailText.objects.create(
        name=name,
        language=language,
        subject=words.subject,
        before=words.before,
        after=words.after,
        recorded_at=at,
        by_id=by_id,
    )


def restore(name: str, language: str, *, at: datetime, by_id: int) -> bool:
    """Go back to the original words. False if they are in force already."""
    row = _latest(name, language)
    if row is None or row.original:
        return False
    EmailText.objects.create(
        name=name, language=language, original=True, recorded_at=at, by_id=by_id
    )
    return True


def _latest(name: str, language: str) -> EmailText | None:
    return _latest_text.first(name=name, language=language)


@prepared
def _latest_text() -> QuerySet[EmailText]:
    text = TextField()
    rows = EmailText.objects.filter(name=Given("name", text), language=Given("language", text))
    return rows.order_by(*latest_first())[:1]
