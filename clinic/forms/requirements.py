"""What the administrator types about procedures and what they require."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from patients.models import Procedure

FURTHEST = 730  # days: two years either side of the operation


class OffsetsForm(forms.Form):
    """Between which two days, counted from the OR date, a module must be cleared."""

    opens_days = forms.IntegerField(
        min_value=-FURTHEST,
        max_value=FURTHEST,
        label="Opens, in days from the OR date",
        help_text="Negative before the operation: -30 is 30 days before it.",
    )
    clear_by_days = forms.IntegerField(
        min_value=-FURTHEST,
        max_value=FURTHEST,
        label="Clear by, in days from the OR date",
        help_text="Up to 0 it is due before the operation and counts for confirming the OR date.",
    )
    end = forms.BooleanField(required=False, label="End this requirement")

    def clean(self) -> dict[str, Any]:
        """The window must not close before it opens."""
        cleaned = super().clean() or {}
        opens, clear_by = cleaned.get("opens_days"), cleaned.get("clear_by_days")
        if opens is not None and clear_by is not None and clear_by < opens:
            raise ValidationError("A module cannot be due before it opens.")
        return cleaned


class ProcedureForm(forms.Form):
    """A new procedure, under the code and name that schedules print."""

    code = forms.CharField(max_length=40)
    name = forms.CharField(max_length=200)

    def clean_code(self) -> str:
        """Each code is one procedure, whatever its case."""
        code: str = self.cleaned_data["code"].strip()
        if Procedure.objects.filter(code__iexact=code).exists():
            raise ValidationError("There is a procedure with this code already.")
        return code

    def clean_name(self) -> str:
        """Each name is one procedure, whatever its case."""
        name: str = self.cleaned_data["name"].strip()
        if Procedure.objects.filter(name__iexact=name).exists():
            raise ValidationError("There is a procedure with this name already.")
        return name
