"""Correct what is on record about a patient."""

from datetime import date
from typing import Any

from django import forms

from patients.models import Language

EARLIEST = date(1900, 1, 1)


class CorrectForm(forms.Form):
    """The facts of a patient, and where the correction comes from."""

    given_names = forms.CharField(max_length=200)
    family_names = forms.CharField(max_length=200, required=False)
    birth_date = forms.DateField(
        label="Date of birth", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    email = forms.EmailField(required=False, max_length=254)
    phone = forms.CharField(required=False, max_length=40)
    language = forms.ChoiceField(choices=Language.choices)
    source = forms.CharField(
        label="How you know",
        help_text="For example: the patient said so on the phone. It stays on record.",
        max_length=200,
    )

    def __init__(self, *args: Any, on: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.on = on

    def clean_birth_date(self) -> date:
        """Nobody is born in the future, or before 1900."""
        birth_date: date = self.cleaned_data["birth_date"]
        if birth_date > self.on:
            raise forms.ValidationError("This day is in the future.")
        if birth_date < EARLIEST:
            raise forms.ValidationError("The year is before 1900.")
        return birth_date
