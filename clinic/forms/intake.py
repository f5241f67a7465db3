"""What staff say about a schedule message that waits."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms

from clinic.day_words import day
from clinic.forms.operations import EARLIEST, LATEST
from patients.compare_message import Choice
from patients.models import Procedure

ANOTHER = "another"


class ApplyForm(forms.Form):
    """Apply a message: by its own date, or by one that a person chooses."""

    shown = forms.CharField(max_length=64, widget=forms.HiddenInput)
    or_date = forms.ChoiceField(
        label="OR date",
        widget=forms.RadioSelect,
        error_messages={"required": "Choose the OR date."},
    )
    another_date = forms.DateField(
        required=False,
        label="Another date",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": "This is not a date. Write it like 2027-02-03."},
    )
    procedure = forms.ModelChoiceField(
        Procedure.objects.all(),
        label="Procedure",
        empty_label="Choose one",
        error_messages={"required": "Choose the procedure."},
    )
    remember = forms.BooleanField(required=False, initial=True)
    note = forms.CharField(
        max_length=500,
        required=False,
        label="Note (if there is something to say)",
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def __init__(
        self,
        *args: Any,
        dates: Sequence[tuple[date, str]],
        needs_date: bool,
        needs_procedure: bool,
        word: str = "",
        sender: str = "",
        **kwargs: Any,
    ) -> None:
        """Offer the dates, each with where it stands, and ask only for what is needed."""
        super().__init__(*args, **kwargs)
        if needs_date:
            choices = [(one.isoformat(), f"{day(one)} ({where})") for one, where in dates]
            self.fields["or_date"].choices = [  # type: ignore[attr-defined]
                *choices,
                (ANOTHER, "another date, given below"),
            ]
        else:
            del self.fields["or_date"], self.fields["another_date"]
        if not needs_procedure:
            del self.fields["procedure"]
        if needs_procedure and word:
            self.fields[
                "remember"
            ].label = (
                f"Remember it: “{word}” means this procedure in later messages {_from(sender)}"
            )
        else:
            del self.fields["remember"]

    def clean(self) -> dict[str, Any]:
        """Another date has to be given, and one that can be meant."""
        cleaned = super().clean() or {}
        another = cleaned.get("another_date")
        if cleaned.get("or_date") == ANOTHER and "another_date" in cleaned and another is None:
            self.add_error("another_date", "Give the date.")
        if another and not EARLIEST <= another <= LATEST:
            self.add_error("another_date", "This year cannot be meant.")
        if another and cleaned.get("or_date") not in (None, "", ANOTHER):
            self.add_error(
                "another_date", "Two dates are given: choose “another date”, or clear it."
            )
        return cleaned

    def choice(self) -> Choice:
        """Return what the person said in place of the message."""
        chosen, procedure = self.cleaned_data.get("or_date"), self.cleaned_data.get("procedure")
        another: date | None = self.cleaned_data.get("another_date")
        or_date = another if chosen == ANOTHER else chosen and date.fromisoformat(chosen)
        return Choice(or_date or None, procedure.pk if procedure else None)


class SetAsideForm(forms.Form):
    """Set a message aside, and why."""

    shown_step = forms.IntegerField(min_value=1, widget=forms.HiddenInput)
    reason = forms.CharField(
        max_length=500,
        label="Reason",
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": "Write down the reason."},
    )
    not_ours = forms.BooleanField(required=False)

    def __init__(self, *args: Any, word: str = "", sender: str = "", **kwargs: Any) -> None:
        """Offer to say that the word for the procedure is none of ours, where nobody knows it."""
        super().__init__(*args, **kwargs)
        if word:
            self.fields["not_ours"].label = (
                f"“{word}” is not one of our procedures: set later messages {_from(sender)} that "
                "name it aside too"
            )
        else:
            del self.fields["not_ours"]


def _from(sender: str) -> str:
    return f"from {sender}" if sender else "without a sender’s name"


class ForgetForm(forms.Form):
    """Take back what was said of a word."""

    word = forms.CharField(max_length=200, strip=False)


class TakeUpForm(forms.Form):
    """Let a message wait again."""

    shown_step = forms.IntegerField(min_value=1, widget=forms.HiddenInput)
