"""The forms of the acts on a patient: a reason, a note, a contact."""

from datetime import date
from typing import Any

from django import forms

from patients.models import Means, Outcome


class ReasonForm(forms.Form):
    """Why this is done; it stays on record."""

    reason = forms.CharField(
        max_length=500, widget=forms.Textarea(attrs={"rows": 3, "maxlength": 500})
    )


class SecondOpinionForm(ReasonForm):
    """The second clinician's word on what was shown, `of`; nothing is chosen beforehand."""

    AGREE, DECLINE = "agree", "decline"
    field_order = ("answer", "reason", "of")

    answer = forms.ChoiceField(
        label="Your answer",
        choices=[(AGREE, "I agree"), (DECLINE, "I decline")],
        widget=forms.RadioSelect,
    )
    of = forms.CharField(max_length=40, widget=forms.HiddenInput)


class ContactForm(forms.Form):
    """One attempt to reach a patient."""

    means = forms.ChoiceField(label="By", choices=Means.choices, initial=Means.CALL)
    # Nothing is chosen beforehand: nobody is logged as reached by a slip.
    outcome = forms.ChoiceField(choices=[("", "choose one"), *Outcome.choices])
    note = forms.CharField(
        required=False, max_length=1000, widget=forms.Textarea(attrs={"rows": 3, "maxlength": 1000})
    )
    next_on = forms.DateField(
        label="Try again on",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )

    def __init__(self, *args: Any, on: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.on = on

    def clean_next_on(self) -> date | None:
        """The next attempt is today or later."""
        next_on: date | None = self.cleaned_data["next_on"]
        if next_on and next_on < self.on:
            raise forms.ValidationError("This day is over. Choose today or later.")
        return next_on
