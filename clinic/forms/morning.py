"""The filters of the morning list, as they stand in the address."""

from django import forms

from clinic.morning import Asked, Choices
from clinic.words import STANDING
from education.rules.standing import Standing

EVERY = "every"


class MorningFilter(forms.Form):
    """Every field may be left out; what cannot be read is said beside the field and left out."""

    q = forms.CharField(label="Name or MRN", max_length=100, required=False)
    standing = forms.ChoiceField(
        required=False,
        choices=[
            ("", "whoever needs you"),
            *((s.value, STANDING[s]) for s in Standing),
            (EVERY, "every standing"),
        ],
    )
    module = forms.IntegerField(required=False, min_value=1, widget=forms.Select)
    procedure = forms.IntegerField(required=False, min_value=1, widget=forms.Select)
    week = forms.DateField(
        label="OR date in the week of",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}),
    )
    mail = forms.CharField(required=False, max_length=10, widget=forms.HiddenInput)
    office = forms.CharField(required=False, max_length=10, widget=forms.HiddenInput)
    page = forms.IntegerField(required=False, min_value=1, widget=forms.HiddenInput)

    def offer(self, choices: Choices) -> None:
        """Fill the lists of modules and procedures."""
        for name, options in (("module", choices.modules), ("procedure", choices.procedures)):
            widget = self.fields[name].widget
            if isinstance(widget, forms.Select):
                widget.choices = [("", "every one"), *options.items()]

    def asked(self) -> Asked:
        """Return what was asked for."""
        self.is_valid()
        given = self.cleaned_data
        standing = given.get("standing") or ""
        return Asked(
            text=(given.get("q") or "").strip(),
            standing=Standing(standing) if standing not in ("", EVERY) else None,
            every_standing=standing == EVERY,
            mail_failed=given.get("mail") == "failed",
            escalated=given.get("office") == "asked",
            module=given.get("module"),
            procedure=given.get("procedure"),
            week_of=given.get("week"),
            page=min(given.get("page") or 1, 10_000),
        )
