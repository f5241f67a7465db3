"""What is typed to correct a contact that was logged wrongly."""

from datetime import date
from typing import Any

from django import forms

from clinic.forms.acts import ContactForm
from patients.contact import Instead
from patients.models import Contact, Means, Outcome

ANOTHER, NONE = "another", "none"


class CorrectContactForm(ContactForm):
    """It was another one, as typed here, or there was none; with the reason."""

    field_order = ("what", "means", "outcome", "note", "next_on", "reason")

    what = forms.ChoiceField(
        label="What is wrong",
        choices=[
            (ANOTHER, "It was as typed here"),
            (NONE, "There was no such contact with this patient"),
        ],
        widget=forms.RadioSelect,
    )
    reason = forms.CharField(
        label="Reason",
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 2, "maxlength": 500}),
        help_text="It stays on record, as what stood here before does.",
    )

    def __init__(self, *args: Any, contact: Contact, only_none: bool, on: date) -> None:
        before = {name: getattr(contact, name) for name in ("means", "outcome", "note", "next_on")}
        super().__init__(*args, on=on, initial=before)
        self.before = before
        if only_none:
            for name in before:
                del self.fields[name]
            what: Any = self.fields["what"]
            what.choices = [(NONE, "There was no such teach-back with this patient")]

    def clean_next_on(self) -> date | None:
        """A day that is over may stand as it stood; a new one is today or later."""
        before: date | None = self.before["next_on"]
        if self.cleaned_data["next_on"] == before:
            return before
        return super().clean_next_on()

    def clean(self) -> dict[str, Any]:
        """Another one has to be different."""
        typed = super().clean() or self.cleaned_data
        same = all(typed.get(name) == value for name, value in self.before.items())
        if typed.get("what") == ANOTHER and same and not self.errors:
            self.add_error("what", "Nothing is different. Change what was wrong.")
        return typed

    @property
    def instead(self) -> Instead | None:
        """What stands in its place; None: nothing does."""
        typed = self.cleaned_data
        if typed["what"] == NONE:
            return None
        return Instead(
            Means(typed["means"]), Outcome(typed["outcome"]), typed["note"], typed["next_on"]
        )
