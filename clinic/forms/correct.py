"""Correct what is on record about a patient."""

from datetime import date
from typing import Any

from django import forms

from patients.rules.identity import Claim
from patients.rules.languages import choices
from patients.rules.names import normal_name
from patients.rules.schedule_persons import family_name_is_new

EARLIEST = date(1900, 1, 1)
LONGEST_NAME = 200
KEEP, DROP = "keep", "drop"


class CorrectForm(forms.Form):
    """The facts of a patient, and where the correction comes from; `seen`: what they were before.

    When the name becomes another one, the form comes back once and asks what the earlier name was:
    a slip, or a name that was right at its time and is kept as a former name.
    """

    given_names = forms.CharField(max_length=LONGEST_NAME)
    family_names = forms.CharField(max_length=LONGEST_NAME, required=False)
    earlier_name = forms.ChoiceField(
        choices=[
            (KEEP, "It was right at its time: keep it as a former name"),
            (DROP, "It was a mistake: do not keep it"),
        ],
        widget=forms.RadioSelect,
    )
    birth_date = forms.DateField(
        label="Date of birth", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    email = forms.EmailField(required=False, max_length=254)
    phone = forms.CharField(required=False, max_length=40)
    language = forms.ChoiceField(choices=choices)
    source = forms.CharField(
        label="How you know",
        help_text="For example: the patient said so on the phone. It stays on record.",
        max_length=200,
    )
    seen = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, on: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.on = on
        self._unasked = False
        before = self._name(self.initial)
        after = self._name(self.data) if self.is_bound else before
        if after is None or before is None or _same(after, before):
            del self.fields["earlier_name"]
            return
        earlier = f"{before.given_names} {before.family_names}".strip()
        self.fields["earlier_name"].label = f"The earlier name, “{earlier}”"
        if not self.data.get("earlier_name"):
            self._unasked = True
            answer = KEEP if family_name_is_new(after, before) else DROP
            typed = {name: self.data.get(name) for name in self.data}
            self.data = {**typed, "earlier_name": answer}

    @property
    def keeps_earlier_name(self) -> bool:
        """Whether a person said that the earlier name is to be kept; for a form that is valid."""
        return self.cleaned_data.get("earlier_name") == KEEP

    def clean_birth_date(self) -> date:
        """Nobody is born in the future, or before 1900."""
        birth_date: date = self.cleaned_data["birth_date"]
        if birth_date > self.on:
            raise forms.ValidationError("This day is in the future.")
        if birth_date < EARLIEST:
            raise forms.ValidationError("The year is before 1900.")
        return birth_date

    def clean_earlier_name(self) -> str:
        """A person has seen the question and answered it."""
        if self._unasked:
            raise forms.ValidationError("Say which it was, then correct it once more.")
        answer: str = self.cleaned_data["earlier_name"]
        return answer

    def _name(self, data: Any) -> Claim | None:
        """Return the name in the data, unless it is none or longer than a name may be."""
        given, family = (str(data.get(f) or "").strip() for f in ("given_names", "family_names"))
        if not given or max(len(given), len(family)) > LONGEST_NAME:
            return None
        return Claim(given, family, self.on)


def _same(one: Claim, other: Claim) -> bool:
    """One name, whatever its accents and capitals."""
    return normal_name(one.given_names, one.family_names) == normal_name(
        other.given_names, other.family_names
    )
