"""What a member of staff chooses for herself."""

from django import forms

from clinic.digest import HOURS

OFF = "off"


class DigestForm(forms.Form):
    """At which hour the morning digest comes, or that it does not."""

    hour = forms.ChoiceField(
        choices=[(OFF, "No digest"), *((str(hour), f"At {hour}:00") for hour in HOURS)],
        label="Morning digest",
        help_text=(
            "An email on working days, by the programme’s clock: how many are late, due or wait, "
            "what changed, and a link. It names no patient."
        ),
    )

    def chosen(self) -> int | None:
        """Return the hour, None for none."""
        hour: str = self.cleaned_data["hour"]
        return None if hour == OFF else int(hour)
