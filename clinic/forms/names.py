"""Another name of a patient."""

from typing import Any

from django import forms

from patients.models import Patient
from patients.other_names import is_known
from patients.rules.identity import NameKind

KINDS = [
    (NameKind.FORMER.value, "Former: right at its time, as a name before a marriage"),
    (NameKind.PREFERRED.value, "Preferred: what the patient goes by"),
]


class OtherNameForm(forms.Form):
    """A former or preferred name, and where it comes from."""

    kind = forms.ChoiceField(choices=KINDS, widget=forms.RadioSelect)
    given_names = forms.CharField(max_length=200)
    family_names = forms.CharField(max_length=200, required=False)
    source = forms.CharField(
        label="How you know",
        help_text="For example: the patient said so on the phone. It stays on record.",
        max_length=200,
    )

    def __init__(self, *args: Any, patient: Patient, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.patient = patient

    def clean(self) -> dict[str, Any]:
        """A name that adds nothing is no other name."""
        cleaned = super().clean() or {}
        given, family = cleaned.get("given_names"), cleaned.get("family_names", "")
        if given and is_known(self.patient, given, family):
            self.add_error("given_names", "The patient is found under this name already.")
        return cleaned
