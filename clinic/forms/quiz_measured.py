"""The filters of the page about a quiz, as they stand in the address."""

from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django import forms

from clinic.forms.operations import EARLIEST, LATEST
from clinic.way_words import WAY
from education.models import Edition
from education.quiz_answers import Asked
from education.rules.quiz_way import TYPED_BY_STAFF, Way
from patients.clock import end_of_day
from patients.rules.languages import choices

# By its name in the address: what it is called, and which ways it takes.
WAYS = {
    "own": ("typed by the patient", frozenset(Way) - TYPED_BY_STAFF),
    "staff": ("typed by staff: paper, phone", TYPED_BY_STAFF),
    **{str(way): (WAY[way], frozenset({way})) for way in Way},
}
NOT_OFFERED = {"invalid_choice": "Choose one of the list."}


class QuizFilter(forms.Form):
    """Every field may be left out; what cannot be read is said beside the field and left out."""

    edition = forms.TypedChoiceField(
        required=False, coerce=int, empty_value=None, error_messages=NOT_OFFERED
    )
    language = forms.ChoiceField(
        required=False,
        choices=lambda: [("", "every language"), *choices()],
        error_messages=NOT_OFFERED,
    )
    first_day = forms.DateField(
        label="Handed in from",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}),
    )
    last_day = forms.DateField(
        label="to",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}),
    )
    way = forms.ChoiceField(
        label="How it came",
        required=False,
        choices=[("", "every way"), *((name, words) for name, (words, _) in WAYS.items())],
        error_messages=NOT_OFFERED,
    )
    tries = forms.ChoiceField(
        label="Count",
        required=False,
        choices=[("", "first tries only"), ("every", "every try, retakes too")],
        error_messages=NOT_OFFERED,
    )

    def __init__(self, *args: Any, editions: list[Edition], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.editions = {edition.number: edition for edition in editions}
        latest = editions[0].number
        field = self.fields["edition"]
        if isinstance(field, forms.TypedChoiceField):
            field.choices = [
                ("", f"{latest}, the latest"),
                *((number, str(number)) for number in self.editions if number != latest),
            ]

    def clean(self) -> dict[str, Any]:
        """The last day is not before the first, and both are days that a calendar has."""
        given = super().clean() or {}
        for name in ("first_day", "last_day"):
            day = given.get(name)
            if day and not EARLIEST <= day <= LATEST:
                self.add_error(name, f"Give a day from {EARLIEST.year} to {LATEST.year}.")
        first, last = given.get("first_day"), given.get("last_day")
        if first and last and last < first:
            self.add_error("last_day", "The last day is before the first.")
        return given

    @property
    def narrowed(self) -> bool:
        """Whether anything but the edition was asked for."""
        narrowing = ("language", "first_day", "last_day", "way", "tries")
        return any(self.data.get(name) for name in narrowing)

    def asked(self, zone: ZoneInfo) -> Asked:
        """Return what was asked for; days are the programme's local days, both inclusive."""
        self.is_valid()
        given = self.cleaned_data
        latest = next(iter(self.editions.values()))
        return Asked(
            edition=self.editions.get(given.get("edition") or 0, latest),
            language=given.get("language") or "",
            since=_begins(given.get("first_day"), zone),
            until=_ends(given.get("last_day"), zone),
            every_try=given.get("tries") == "every",
            ways=WAYS[given["way"]][1] if given.get("way") else frozenset(),
        )


def _begins(day: date | None, zone: ZoneInfo) -> datetime | None:
    return end_of_day(day - timedelta(days=1), zone) if day else None


def _ends(day: date | None, zone: ZoneInfo) -> datetime | None:
    return end_of_day(day, zone) if day else None
