"""What staff type about an operation."""

from datetime import date
from typing import Any

from django import forms
from django.utils.dateparse import parse_date

from education.rules.confirm import Word
from patients.rules.schedule_dates import EARLIEST_YEAR, LATEST_YEAR

EARLIEST, LATEST = date(EARLIEST_YEAR, 1, 1), date(LATEST_YEAR, 12, 31)


class SeenForm(forms.Form):
    """What the page showed when the button on it was pressed: to be compared and shown again.

    Only `seen` and `version` decide; the word and the date are there for people to read.
    """

    seen = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    version = forms.IntegerField(min_value=1, widget=forms.HiddenInput)
    seen_word = forms.CharField(max_length=12, required=False, widget=forms.HiddenInput)
    seen_or_date = forms.CharField(max_length=10, required=False, widget=forms.HiddenInput)
    seen_booking = forms.CharField(max_length=12, required=False, widget=forms.HiddenInput)

    def shown(self) -> dict[str, Any]:
        """Return the word, date and booking that the page had shown, as far as they make sense."""
        data = {name: str(self.data.get(name, "")) for name in self.fields}
        word = data["seen_word"] if data["seen_word"] in list(Word) else ""
        try:
            day = parse_date(data["seen_or_date"])
        except ValueError:
            day = None
        return {"word": word, "or_date": day, "booking": data["seen_booking"][:12]}


class ConfirmForm(SeenForm):
    """Confirm by the answer that was shown."""


class AgainstHoldForm(SeenForm):
    """Confirm although the answer is hold: a clinician answers for it by name."""

    clinician = forms.CharField(
        max_length=120,
        label="Clinician who decided",
        error_messages={"required": "Name the clinician who decided to go ahead."},
    )
    clinician_reason = forms.CharField(
        max_length=500,
        label="The clinician’s reason",
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": "Write down the clinician’s reason."},
    )


class ForeseenForm(SeenForm):
    """What the page showed that a change would do, too."""

    foreseen = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)


class BookingForm(ForeseenForm):
    """Another booking, and why."""

    booking = forms.CharField(max_length=12, widget=forms.HiddenInput)
    reason = forms.CharField(
        max_length=500,
        label="Reason",
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": "Write down the reason."},
    )


class NewDateForm(forms.Form):
    """The date that is asked about: what would it do?"""

    or_date = forms.DateField(
        required=False,
        label="New OR date",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": "This is not a date. Write it like 2027-02-03."},
    )
    no_date = forms.BooleanField(required=False, label="Postponed: there is no date yet")

    def clean_or_date(self) -> date | None:
        """Refuse a year that is surely a slip of the finger."""
        day: date | None = self.cleaned_data["or_date"]
        if day is not None and not EARLIEST <= day <= LATEST:
            raise forms.ValidationError("This year cannot be meant.")
        return day

    def clean(self) -> dict[str, Any]:
        """A date or no date, not both and not neither."""
        cleaned = super().clean() or {}
        if "or_date" in cleaned and bool(cleaned["or_date"]) == bool(cleaned.get("no_date")):
            raise forms.ValidationError("Give the new OR date, or say that there is none yet.")
        return cleaned


class MoveForm(NewDateForm, ForeseenForm):
    """Move the date, and why."""

    reason = forms.CharField(
        max_length=500,
        label="Reason",
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": "Write down the reason."},
    )
